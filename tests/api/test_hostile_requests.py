"""Generated requests, sound and hostile, to every address of the API: none may end in a server error."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from rest_framework.authtoken.models import Token

from tests.shop import Shop, assert_ledger_balances


@pytest.mark.django_db(transaction=True)
def test_no_request_ends_in_a_server_error(live_server: Any, tmp_path: Path) -> None:
    shop = Shop()
    shop.stock(shop.chamfer_tip, 5)
    assert shop.offer.pk
    shop.log_run()
    token = Token.objects.create(user=shop.lead).key
    answer = subprocess.run(
        [
            str(Path(sys.executable).with_name("schemathesis")), "run", f"{live_server.url}/api/v1/schema/",
            "--header", f"Authorization: Token {token}", "--checks", "not_a_server_error",
            "--phases", "examples,fuzzing",
            "--max-examples", "4", "--seed", "7", "--generation-database", "none", "--no-color",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stdout[-4000:] + answer.stderr[-1000:]
    assert "Tested:" in answer.stdout
    assert_ledger_balances()
