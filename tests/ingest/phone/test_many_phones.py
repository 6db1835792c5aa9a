"""The campaign of `tests.benchmarks.phones` in small."""

from pathlib import Path

from tests.many_phones import campaign


def test_eight_phones_on_a_bad_network_and_a_server_killed_twice_lose_double_and_invent_nothing(
    tmp_path: Path,
) -> None:
    told = campaign(tmp_path, phones=8, entries=25, kills=2)
    assert told.kills == 2 and told.actions > 200
