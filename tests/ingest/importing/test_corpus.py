"""Files that a campaign of mutations once found worth keeping (`tests.benchmarks.fuzz`): read again, none
fails, and nothing is stored that is forbidden.
"""

from functools import partial
from pathlib import Path

from ingest.errors import BenchHoursError
from ingest.importing.files import check_files, import_files
from tests.benchmarks.fuzz import CORPUS, FORBIDDEN, new_store

MOST = 60  # of all; the campaign begins with each of them


def test_no_file_of_the_corpus_fails_or_brings_in_what_is_forbidden(tmp_path: Path) -> None:
    files = sorted(CORPUS.glob("*.csv"))
    chosen = files[:: -(-len(files) // MOST)]
    assert len(chosen) > 50
    with new_store(tmp_path) as store:
        for file in chosen:
            for read in (check_files, partial(import_files, write_rejects=False)):
                try:
                    reports = read(store, [file])
                except BenchHoursError:
                    continue
                for report in reports:
                    assert report.outcome.rows <= len(report.rows.lines) + len(report.rows.faults), file.name
                    for frame in (report.problems, report.warnings):
                        assert frame["reason"].notna().all() and frame["mend"].notna().all(), file.name
        broken = [name for name, query in FORBIDDEN.items() if store.cursor().execute(query).fetchall()[0][0]]
        assert not broken
