"""Helps that every form of the pages shares."""

from __future__ import annotations

from django import forms

from crib.core.errors import ShopError
from crib.floor.errors import OddReading


class QuestionedForm(forms.Form):
    """A form with a wear land: once it was refused as odd, a box asks whether somebody looked twice."""

    looked_twice = forms.BooleanField(required=False, label="I looked twice: it is right")
    questioned = False


def show_refusal(form: forms.BaseForm, error: ShopError) -> None:
    """Put a refusal beside the field it names, or above the form when it names none of its fields."""
    form.add_error(error.field if error.field in form.fields else None, error.sentence)
    if error.code == OddReading.code and isinstance(form, QuestionedForm):
        form.questioned = True
