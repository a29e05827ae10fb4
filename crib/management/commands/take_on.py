"""`manage.py take_on NAME --role ROLE`: how the first lead of a new installation gets in."""

from typing import Any

from django.core.management.base import CommandParser

from crib.management.base import ShopCommand
from crib.people.roles import ROLES
from crib.people.services import take_on_person


class Command(ShopCommand):
    help = "Takes on a person and prints the password to hand over; the rest is done on the page People."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", help="letters and figures, as typed at sign-in")
        parser.add_argument("--role", required=True, choices=list(ROLES))
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")

    def handle(self, *args: Any, **options: Any) -> None:
        username: str = options["username"]
        person, password = take_on_person(
            username=username,
            first_name=options["first_name"] or username.capitalize(),
            last_name=options["last_name"],
            role=options["role"],
            who=None,
        )
        self.stdout.write(f"{person.username} may sign in with the password {password}")
