"""`manage.py token PERSON`."""

from typing import Any

from django.core.management.base import CommandParser

from crib.core.errors import Refused
from crib.management.base import ShopCommand
from crib.people.selectors import find_person


class Command(ShopCommand):
    help = "Prints the API token of a person, made at the first call."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("person", help="user name")
        parser.add_argument("--new", action="store_true", help="make another, so that the old one is refused")

    def handle(self, *args: Any, **options: Any) -> None:
        from rest_framework.authtoken.models import Token

        person = find_person(options["person"])
        if not person.is_active:
            raise Refused(f"{person.username} has left, so there is no token for them.")
        if options["new"]:
            Token.objects.filter(user=person).delete()
        token, _ = Token.objects.get_or_create(user=person)
        self.stdout.write(token.key)
