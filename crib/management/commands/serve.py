"""`manage.py serve`: the web server alone."""

import logging
from importlib import import_module
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser
from django.utils.module_loading import import_string

from crib.management.base import ShopCommand
from crib.management.starting import collect_static, leave_when_asked, require_current_tables, require_free_port


class Command(ShopCommand):
    help = "Starts the web server alone. Put a server that speaks HTTPS before it for anything but this machine."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8, help="requests answered at the same time")
        parser.add_argument(
            "--trusted-proxy",
            default=None,
            metavar="ADDRESS",
            help="address of the server before this one, whose X-Forwarded-… headers are believed",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        leave_when_asked()
        require_free_port(options["host"], options["port"])
        require_current_tables()
        collect_static()
        _serve(**{name: options[name] for name in ("host", "port", "threads", "trusted_proxy")})


def _serve(*, host: str, port: int, threads: int, trusted_proxy: str | None) -> None:
    import waitress

    # A burst longer than the threads waits a moment; that is no news.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    behind: dict[str, Any] = {}
    if trusted_proxy:
        behind = {
            "trusted_proxy": trusted_proxy,
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": "x-forwarded-for x-forwarded-proto x-forwarded-host",
            "clear_untrusted_proxy_headers": True,
        }
    # Before it listens: what is wrong with a page's module ends the start instead of each request.
    import_module(settings.ROOT_URLCONF)
    waitress.serve(
        import_string(settings.WSGI_APPLICATION), host=host, port=port, threads=threads, ident="Edgetally", **behind
    )
