"""API.md beside the form's routes is tested like code."""

from pathlib import Path

from dashboard.services import demo
from ingest.phone.form_state import bench
from ingest.store import Store
from tests import ROOT


def test_the_guide_names_every_key_of_what_the_form_is_told(tmp_path: Path) -> None:
    guide = (ROOT / "ingest" / "phone" / "API.md").read_text(encoding="utf-8")
    with Store(":memory:") as store:
        demo.fill(store)
        person = (
            store.cursor()
            .execute("SELECT person FROM time_entries ORDER BY day DESC LIMIT 1")
            .fetchall()[0][0]
        )
        told = bench(store.cursor(), person)
    for keys in (
        told,
        told["phases"][0],
        told["techniques"][0],
        told["works"][0],
        told["works"][0]["lines"][0],
        told["entries"][0],
    ):
        for key in keys:
            assert f"`{key}`" in guide, key
