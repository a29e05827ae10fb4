"""Helps that every form of the pages shares."""

from __future__ import annotations

from django import forms

from crib.core.errors import ShopError


def show_refusal(form: forms.BaseForm, error: ShopError) -> None:
    """Put a refusal beside the field it names, or above the form when it names none of its fields."""
    form.add_error(error.field if error.field in form.fields else None, error.sentence)
