"""Writers at the same time, some of them killed: what was answered stands in the ledger once, and it balances."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shop import Shop
from tests.writers import lay_out, run_writers

WRITERS, ACTS, KILLS = 6, 40, 5


@pytest.mark.django_db(transaction=True)
def test_every_act_answered_is_there_once_though_writers_are_killed(shop: Shop, tmp_path: Path) -> None:
    lay_out(shop, writers=WRITERS, designs=4)
    done = run_writers(writers=WRITERS, acts=ACTS, kills=KILLS, folder=tmp_path)
    assert (done.missing, done.doubled, done.differences) == ((), (), ())
    assert (done.answered, done.killed, done.broken) == (WRITERS * ACTS, KILLS, 0)
    # Most acts find their piece; a run of refusals would show nothing.
    assert done.acknowledged > WRITERS * ACTS / 2
    # A writer that was killed between the act and its note sends the key again, and then it is noted.
    assert done.unnoted == 0
