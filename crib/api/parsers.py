"""The body of a request as JSON, and as nothing that would break further in."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class StrictJSON(JSONParser):
    """JSON that can be read, kept and written back.

    Refused beside what is no JSON: brackets in brackets beyond all reading, and half a character (a lone surrogate,
    which no UTF-8 can hold).
    """

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        raw = stream.read()
        try:
            body = super().parse(io.BytesIO(raw), media_type, parser_context)
        except RecursionError:
            raise ParseError("The body is nested too deeply.") from None
        if b"\\ud" in raw or b"\\uD" in raw:
            try:
                json.dumps(body, ensure_ascii=False).encode()
            except UnicodeEncodeError:
                raise ParseError("The body holds half a character.") from None
        return body
