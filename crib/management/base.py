"""What every command shares: what goes wrong is said in one sentence, without a word of Python before it."""

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, SystemCheckError

from crib.core.errors import ShopError


class ShopCommand(BaseCommand):
    """A command whose errors read as sentences; called from code, it raises them."""

    _called_from_command_line: bool

    def execute(self, *args: Any, **options: Any) -> str | None:
        try:
            return super().execute(*args, **options)
        except SystemCheckError:
            raise
        except (CommandError, ShopError) as wrong:
            if not self._called_from_command_line or options.get("traceback"):
                raise
            self.stderr.write(str(wrong))
            sys.exit(getattr(wrong, "returncode", 1))
