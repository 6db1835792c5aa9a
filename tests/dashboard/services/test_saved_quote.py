"""A quote saved, reckoned again, approved or ended: through the record and back."""

import io
import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.cli.main import main
from dashboard.documents.blocks import Letter
from dashboard.services import promises as promises_service
from dashboard.services import quote_continued, quote_recomputed
from dashboard.services import rates as rates_service
from dashboard.text.promises import outcomes
from ingest import store as storing
from ingest.editing import approvals, quote_drafts, version_outcomes
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.safekeeping.backup import back_up
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from ingest.studio import vocabulary
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change
from tests.conftest import LATER as TODAY
from tests.conftest import Bring
from tests.dashboard.quoting import SHEET
from tests.dashboard.saved_quotes import CHANGE, again_is_the_same, approve, bring_into, log, of, saved, sheet
from tests.prepared import new_store
from tests.whole_studios import everything


def test_a_saved_quote_says_the_same_after_a_thousand_entries_renames_an_export_a_backup_and_an_upgrade(
    mill: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    options = sheet(
        {"technique": "lining", "option": "full treatment"},
        {"technique": "tear bridging", "option": "stabilise only"},
        minimum="180",
        tax="19",
        ceiling="9000",
    )
    options.works[0].costs = [{"what": "framer", "amount": "120.50"}]
    assert saved(mill, options) == [("26-099", 1)]
    before = of(mill, "26-099", 1)
    assert [option.option for option in before.options] == [
        "full treatment",
        "stabilise only",
    ] and again_is_the_same(mill)
    works = queries.overruns(mill.cursor(), queries.today(mill.cursor()))
    codes = works["object"].unique()
    day = queries.today(mill.cursor()) - timedelta(days=400)
    rows = "\n".join(
        (
            f"{codes[n % len(codes)]},,{'filling' if n % 3 else 'retouching'},Ilse,"
            f"{day + timedelta(days=n % 390)},{1 + n % 5},n{n}"
        )
        for n in range(1000)
    )
    assert bring_into(
        mill, tmp_path, "more.csv", f"object,phase,technique,person,date,hours,note\n{rows}\n"
    ).complete
    with mill.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "inpainting, own word", CHANGE)
        vocabulary.rename(con, "phase", "filling", "fills", CHANGE)
    assert of(mill, "26-099", 1).options == before.options and again_is_the_same(mill)
    assert (
        "inpainting, own word" in queries.quoted_lines(mill.cursor(), "26-099", 1)["technique"].tolist()
        and faults(mill.cursor()) == []
    )
    # by way of an export
    export(mill, tmp_path / "out", private=True)
    with new_store() as other:
        assert all(report.complete for report in import_files(other, sorted((tmp_path / "out").iterdir())))
        assert (
            everything(other) == everything(mill)
            and again_is_the_same(other)
            and of(other, "26-099", 1) == of(mill, "26-099", 1)
        )
    # a shared one has the figures, and neither what was typed nor the letter
    export(mill, tmp_path / "shared")
    assert all(
        "Brandreth" not in file.read_text(encoding="utf-8") for file in (tmp_path / "shared").iterdir()
    )
    shared = pd.read_csv(tmp_path / "shared" / "saved_quotes.csv")
    assert shared["letter"].isna().all() and shared["written"].isna().all()
    assert (tmp_path / "shared" / "saved_quotes_options.csv").read_bytes() == (
        tmp_path / "out" / "saved_quotes_options.csv"
    ).read_bytes()
    # by way of a backup, and of a form of the database that is still to come
    copy = back_up(mill, tmp_path / "copy.duckdb").file
    known = [
        *storing.migrations(),
        (99, "later", "ALTER TABLE quotes ADD COLUMN seen BOOLEAN; CREATE TABLE later (n INTEGER);"),
    ]
    with monkeypatch.context() as later:
        later.setattr(storing, "migrations", lambda: known)
        with Store(copy) as other:
            assert storing.schema_version(other.cursor()) == 99
            found = (
                other.cursor()
                .execute(
                    "SELECT stood_on, promised_hours, p10, p90, price FROM quoted_options ORDER BY option"
                )
                .fetchall()
            )
    for (stood_on, *figures), told in zip(found, before.options, strict=True):
        again = quote_recomputed.recompute(replace(told, stood_on=json.loads(stood_on)))
        assert [again.promised_hours, again.p10, again.p90, again.price] == figures


def test_its_version_has_the_hours_of_the_letter_and_its_price_and_no_figure_of_anybodys(mill: Store) -> None:
    quote = sheet({"technique": "lining", "hours": "9"})
    saved(mill, quote)
    lines = queries.estimate_lines(mill.cursor(), "26-099", 1)
    told = of(mill, "26-099", 1).options[0]
    assert lines["hours"].sum() + told.stood_on["allowance_hours"] == pytest.approx(
        told.promised_hours, abs=0.11
    )
    versions = queries.versions(mill.cursor(), "26-099").iloc[0]
    assert (
        versions["price"] == told.price == pytest.approx(round(told.promised_hours, 1) * 68, abs=0.01)
        and versions["currency"] == "EUR"
    )
    letter = of(mill, "26-099", 1).letter
    assert (
        letter is not None
        and Letter.from_dict(letter).as_dict() == letter
        and Letter.from_dict(letter).addressee == ["Family Brandreth"]
    )
    # what the record told is nobody's figure; her own is
    log(
        mill,
        {"technique": "lining", "date": f"{queries.today(mill.cursor())}", "hours": "2"},
        {"technique": "filling", "date": f"{queries.today(mill.cursor())}", "hours": "2"},
    )
    as_of = queries.today(mill.cursor()) + timedelta(days=1)
    taught = queries.record(mill.cursor(), as_of).as_of(rates_service.number_of(as_of))
    mine = {
        t: f for t, f, o in zip(taught.technique, taught.figure, taught.object, strict=True) if o == "26-099"
    }
    assert mine["lining"] == 9 and np.isnan(mine["filling"])


def test_one_that_stood_on_three_works_says_so(
    store: Store, studio: Bring, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    objects = "".join(f"25-00{n},easel painting,canvas,2026-01-2{n}\n" for n in (1, 2, 3))
    studio("objects.csv", f"object,kind,support,finished_on\n{objects}")
    studio(
        "estimates.csv",
        "object,version,made_on,phase,technique,hours\n"
        + "".join(f"25-00{n},1,2026-01-01,,facing,4\n" for n in (1, 2, 3)),
    )
    studio(
        "log.csv",
        "object,phase,technique,person,date,hours\n"
        + "".join(f"25-00{n},,facing,Ilse,2026-01-1{n},{3 + n}\n" for n in (1, 2, 3)),
    )
    saved(store, Quote(works=[QuotedWork(object="24-001", lines=[{"technique": "facing"}])]), TODAY)
    found = of(store, "24-001", 1)
    assert (found.works, found.lines, found.as_of) == (3, 3, TODAY)
    assert queries.quoted_lines(store.cursor(), "24-001", 1)["works"].map(list).tolist() == [
        ["25-001", "25-002", "25-003"]
    ]
    # one price tells no hours
    assert "from our own record of 3 finished works" not in json.dumps(found.letter)
    quote = Quote(
        works=[QuotedWork(object="24-002", lines=[{"technique": "facing"}])], letter={"form": "phases"}
    )
    with store.writing() as con:
        write_settings(con, {"hourly_rate": "60"})
    saved(store, quote, TODAY)
    assert "from our own record of 3 finished works" in json.dumps(of(store, "24-002", 1).letter)


def test_what_was_saved_is_never_overwritten_and_its_words_and_prices_come_in_again_without_change(
    mill: Store, tmp_path: Path
) -> None:
    saved(mill, sheet())
    export(mill, tmp_path / "out", private=True)
    report = import_files(mill, [tmp_path / "out" / "estimates.csv"])[0]
    assert report.complete and report.outcome.stored == report.outcome.corrected == 0
    text = (tmp_path / "out" / "estimates.csv").read_text()
    frame = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    frame.loc[frame["object"] == "26-099", "hours"] = "1"
    frame.to_csv(tmp_path / "changed.csv", index=False)
    report = import_files(mill, [tmp_path / "changed.csv"], write_rejects=False)[0]
    assert (
        report.problems["reason"]
        .str.contains("of 26-099 was saved from a quote, and this file says otherwise")
        .any()
    )
    assert again_is_the_same(mill)


def test_what_cannot_be_saved_is_refused_in_words_and_nothing_is_stored(mill: Store) -> None:
    def held() -> list[int]:
        return [
            mill.cursor().execute(f"SELECT count(*) FROM {table}").fetchall()[0][0]
            for table in (
                "estimate_versions",
                "estimated_lines",
                "quotes",
                "quoted_options",
                "quoted_lines",
                "people",
                "history",
            )
        ]

    before = held()
    kept_quote = quote_drafts.keep(mill, sheet(), "v")
    for quote, words in (
        (
            Quote(works=[QuotedWork(described={"kind": "easel painting"}, lines=[dict(SHEET[0])])]),
            "the new work is not among the works yet",
        ),
        (sheet({"technique": "varnishing at the moon"}), "a line of 26-099 cannot be read"),
        (sheet(rate="many"), "Rate per hour"),
        (Quote(works=[QuotedWork(object="26-099")]), "26-099 has no lines yet, and would be lost"),
        (Quote(works=[QuotedWork(object="25-041", lines=[dict(SHEET[0])])]), "25-041 was finished on"),
    ):
        with pytest.raises(BenchHoursError, match=words):
            saved(mill, quote)
    quote_drafts.throw_away(mill, kept_quote.number or 0)
    # thrown away in another window
    with pytest.raises(BenchHoursError, match="is not being written any more"):
        saved(mill, replace_number(sheet(), kept_quote.number))
    assert held() == before
    saved(mill, sheet())
    with pytest.raises(BenchHoursError, match="Quote it as of a later day"):
        saved(mill, sheet(), queries.today(mill.cursor()) - timedelta(days=3), "looked again")


def replace_number(quote: Quote, number: int | None) -> Quote:
    quote.number = number
    return quote


def test_of_options_the_one_taken_is_approved_at_its_own_price_or_the_one_agreed(mill: Store) -> None:
    saved(
        mill,
        sheet(
            {"technique": "lining", "option": "full treatment"},
            {"technique": "tear bridging", "option": "stabilise only"},
        ),
    )
    today = queries.today(mill.cursor())
    both = of(mill, "26-099", 1).options
    assert queries.versions(mill.cursor(), "26-099")["price"].tolist() == [both[0].price, both[1].price]
    approve(mill, "26-099", 1, today, "stabilise only", (1234.5, "EUR"))
    row = queries.versions(mill.cursor(), "26-099").iloc[0]
    assert (row["option"], row["price"], row["promised_hours"]) == (
        "stabilise only",
        1234.5,
        both[1].promised_hours,
    )
    lines = queries.overruns(mill.cursor(), today, "26-099")
    assert lines["technique"].isin(["tear bridging"]).any() and not lines["technique"].isin(["lining"]).any()
    assert not lines.duplicated(["phase", "technique", "part"]).any()
    assert lines["estimated_hours"].sum() + both[1].stood_on["allowance_hours"] == pytest.approx(
        both[1].promised_hours, abs=0.11
    )


def test_what_was_declined_or_withdrawn_is_kept_and_counted_and_out_of_yardsticks_and_rates(
    store: Store, studio: Bring
) -> None:
    studio(
        "estimates.csv",
        "object,version,made_on,phase,technique,hours\n24-001,1,2026-01-02,,facing,4\n24-001,2,2026-01-05,,facing,40\n24-002,1,2026-01-02,,lining,9\n",
    )
    day = date(2026, 1, 8)
    with store.writing() as con:
        version_outcomes.end(con, "24-001", 2, "declined", day, TODAY, Change(by="Ilse", reason="too dear"))
        version_outcomes.end(con, "24-002", 1, "withdrawn", day, TODAY, Change(by="Ilse", reason=""))
    studio("log.csv", "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2026-01-10,5\n")
    studio("objects.csv", "object,finished_on\n24-001,2026-01-20\n24-002,2026-01-20\n")
    lines = queries.overruns(store.cursor(), TODAY)
    assert lines[["object", "technique", "estimated_hours", "difference_hours"]].to_numpy().tolist() == [
        ["24-001", "facing", 4.0, 1.0]
    ]
    # as things stood before
    assert queries.overruns(store.cursor(), date(2026, 1, 7))["estimated_hours"].tolist() == [40.0, 9.0]
    record = queries.record(store.cursor(), TODAY)
    assert record.as_of(rates_service.number_of(TODAY)).figure.tolist() == [4.0]
    # a line of a declined version was not "quoted, not needed"
    assert len(record.unneeded(rates_service.number_of(TODAY))) == 0
    scored = promises_service.scored(store.cursor(), TODAY)
    assert scored.works[["object", "promised_hours", "actual_hours", "kept"]].to_numpy().tolist() == [
        ["24-001", 4.0, 5.0, False]
    ]
    # not superseded: the later one came to nothing
    assert sorted(scored.versions["outcome"]) == ["declined", "no word noted", "withdrawn"]
    assert outcomes(scored).startswith(
        "3 versions of estimates on 2 works: "
    ) and "1 declined, 1 withdrawn" in outcomes(scored)
    assert queries.works(store.cursor(), TODAY).set_index("object").loc["24-002", "outcome"] == "withdrawn"
    with pytest.raises(BenchHoursError, match="was declined on 8 January 2026"), store.writing() as con:
        approvals.approve(con, "24-001", 2, day, None, CHANGE)
    for version, outcome, on, words in (
        (2, "withdrawn", day, "already"),
        (1, "declined", date(2027, 1, 1), "lies in the future"),
        (1, "declined", date(2025, 1, 1), "after that day"),
    ):
        with pytest.raises(BenchHoursError, match=words), store.writing() as con:
            version_outcomes.end(con, "24-001", version, outcome, on, TODAY, CHANGE)
    with store.writing() as con:
        version_outcomes.take_back_end(con, "24-001", 2, CHANGE)
    assert queries.overruns(store.cursor(), TODAY)["estimated_hours"].tolist() == [40.0]
    assert (
        store.cursor().execute("SELECT count(*) FROM history WHERE kind = 'ended_versions'").fetchall()
        == [(1,)]
        and faults(store.cursor()) == []
    )


def test_quote_save_and_the_history_of_versions_by_command(
    demo_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    db = tmp_path / "own.duckdb"
    shutil.copy(demo_file, db)
    assert main(["quote", "--db", str(db), "--object", "26-063", "--save", "--reason", "An old fill"]) == 0
    assert "Saved as version 2 of 26-063." in capsys.readouterr().err
    quote = ["quote", "--db", str(db), "--once-begun", "--save"]
    assert main([*quote, "--object", "26-063"]) == 2
    assert "what was found" in capsys.readouterr().err
    lines = tmp_path / "lines.csv"
    lines.write_text("technique\nfacing\n")
    assert main([*quote, "--lines", str(lines)]) == 2
    assert "is not among the works yet" in capsys.readouterr().err
    lines.write_text("technique,quantity\nfacing,many\nfilling,\n")
    assert main([*quote, "--object", "26-066", "--lines", str(lines), "--reason", "x"]) == 2
    assert "nothing is saved" in capsys.readouterr().err
    assert main(["overruns", "--db", str(db), "--object", "26-063"]) == 0
    out = capsys.readouterr().out
    assert (
        "Versions of its estimate" in out
        and "(with what was found)" in out
        and "by hand" in out
        and "An old fill" in out
    )
    assert main(["overruns", "--db", str(db), "--object", "26-063", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert all([item["version"] for item in row["versions"]] in ([], [1], [1, 2], [2]) for row in told)
    assert any(item["worked_hours"] for row in told for item in row["versions"] if item["version"] == 2)
    assert main(["overruns", "--db", str(db), "--json"]) == 0
    assert "versions" not in json.loads(capsys.readouterr().out)[0]
    with Store(db) as store:
        assert again_is_the_same(store, "26-063", 2) and faults(store.cursor()) == []


def test_a_line_of_an_option_and_one_of_every_option_that_are_the_same_are_one(mill: Store) -> None:
    quote = sheet()
    quote.works[0].lines = [
        {"technique": "retouching", "hours": "3"},
        {"technique": "retouching", "hours": "5", "option": "A"},
        {"technique": "filling", "hours": "2", "option": "A"},
        {"technique": "filling", "hours": "2", "option": "B"},
    ]
    today = queries.today(mill.cursor())
    saved(mill, quote, today - timedelta(days=5))
    lines = queries.quoted_lines(mill.cursor(), "26-099", 1)
    assert lines[["option", "technique", "own_hours"]].to_numpy().tolist() == [
        ["A", "filling", 2.0],
        ["A", "retouching", 8.0],
        ["B", "filling", 2.0],
        ["B", "retouching", 3.0],
    ]
    approve(mill, "26-099", 1, today - timedelta(days=5), "A")
    log(mill, {"technique": "retouching", "date": f"{today - timedelta(days=2)}", "hours": "7"})
    again = quote_continued.continued_quote(mill.cursor(), "26-099", today)
    assert [(line["technique"], line["hours"]) for line in again.works[0].lines] == [
        ("filling", "2"),
        ("retouching", "8"),
    ]
    taught = queries.record(mill.cursor(), today + timedelta(days=1)).as_of(
        rates_service.number_of(today) + 1
    )
    assert taught.figure[(taught.object == "26-099") & (taught.technique == "retouching")].tolist() == [8.0]
    again.letter["reason"] = "slower"
    saved(mill, again, today, "slower")
    # once
    assert (
        queries.quoted_lines(mill.cursor(), "26-099", 2)
        .set_index("technique")
        .loc["retouching", "worked_hours"]
        == 7
    )


def test_nobody_saves_into_the_future_or_behind_what_was_logged(mill: Store) -> None:
    today = queries.today(mill.cursor())
    with pytest.raises(BenchHoursError, match="lies in the future"):
        saved(mill, sheet(), today + timedelta(days=200))
    log(
        mill,
        {"technique": "filling", "date": f"{today - timedelta(days=2)}", "hours": "3.75", "charge": "extra"},
    )
    with pytest.raises(BenchHoursError, match="would be no forecast"):
        saved(mill, sheet(), today - timedelta(days=5))
    saved(
        mill, sheet({"technique": "lining"}, {"technique": "facing", "hours": "2"}), today - timedelta(days=2)
    )
    begun = mill.cursor().execute("SELECT technique FROM quoted_lines WHERE begun").fetchall()
    assert begun == [("filling",)]  # whatever its charge, what is said of it now is no forecast


def test_what_was_declined_is_not_approved_by_a_file_and_is_where_the_next_quote_begins(
    mill: Store, tmp_path: Path
) -> None:
    today = queries.today(mill.cursor())
    saved(mill, sheet(confidence="90"), today - timedelta(days=4))
    with mill.writing() as con:
        version_outcomes.end(
            con,
            "26-099",
            1,
            "declined",
            today - timedelta(days=1),
            today,
            Change(by="Ilse", reason="too dear"),
        )
    export(mill, tmp_path / "out", private=True)
    frame = pd.read_csv(tmp_path / "out" / "estimates.csv", dtype=str, keep_default_na=False)
    frame.loc[frame["object"] == "26-099", "approved_on"] = f"{today - timedelta(days=2)}"
    frame.to_csv(tmp_path / "approved.csv", index=False)
    report = import_files(mill, [tmp_path / "approved.csv"], write_rejects=False)[0]
    assert (
        report.problems["reason"].str.contains("which was declined on").any() and faults(mill.cursor()) == []
    )
    assert (
        queries.latest_standing(mill.cursor(), "26-099", today) is None
        and queries.latest_standing(mill.cursor(), "26-099", today - timedelta(days=2)) == 1
    )
    again = quote_continued.continued_quote(mill.cursor(), "26-099", today)
    assert [line["technique"] for line in again.works[0].lines] == [
        item["technique"] for item in SHEET
    ] and again.terms["confidence"] == "90"


def test_a_first_stage_keeps_the_rest_of_the_sheet_for_the_quote_after_it(mill: Store) -> None:
    today = queries.today(mill.cursor())
    quote = sheet(first_stage="yes")
    quote.works[0].lines.append({"technique": "lining", "hours": "9"})
    saved(mill, quote, today - timedelta(days=3))
    again = quote_continued.continued_quote(mill.cursor(), "26-099", today)
    assert (
        [line["technique"] for line in again.works[0].lines]
        == [*(item["technique"] for item in SHEET), "lining"]
        and again.works[0].lines[-1]["hours"] == "9"
        and "first_stage" not in again.terms
    )
