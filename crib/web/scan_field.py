"""A form field that takes a thing by its label or code, so that a scanner fills it."""

from __future__ import annotations

from typing import Any

from django import forms

from crib.core.errors import ShopError
from crib.stock.selectors import Found, find_label


class Scan(forms.CharField):
    """One thing by its label or code, of the kinds that are wanted."""

    def __init__(self, *, letters: str, words: str, **kwargs: Any) -> None:
        self.letters, self.words = letters, words
        super().__init__(max_length=200, **kwargs)
        self.widget.attrs |= {"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            found: Found = find_label(text=text)
        except ShopError as refused:
            raise forms.ValidationError(refused.sentence) from refused
        if found.letter not in self.letters:
            raise forms.ValidationError(f"“{text}” is a {found.says}. Scan {self.words}.")
        return found.thing
