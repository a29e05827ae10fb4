"""The shop's own errors: each carries a sentence a machinist understands, a stable code and the field at fault."""

from __future__ import annotations


class ShopError(Exception):
    """Something the shop does not allow, said so that whoever reads it knows the way out."""

    code = "shop-error"
    status = 409

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field


class BadInput(ShopError):
    """A field holds something that cannot be used."""

    code = "bad-input"
    status = 400

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence, field=field)


class NotAllowed(ShopError):
    """The person has no right to do this."""

    code = "not-allowed"
    status = 403


class NotFound(ShopError):
    """Nothing in the shop goes by that name."""

    code = "not-found"
    status = 404


class Refused(ShopError):
    """The input is sound, but the state of things forbids it."""

    code = "refused"
    status = 409


class KeyAlreadyUsed(Refused):
    """The same key came before with something else in it."""

    code = "key-already-used"
