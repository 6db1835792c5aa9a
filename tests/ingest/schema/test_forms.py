"""Which kind a file is."""

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import FileError
from ingest.schema.csv_columns import FORMS, form_of, header_name


@st.composite
def headers(draw: st.DrawFn) -> tuple[str, list[str]]:
    form = draw(st.sampled_from(FORMS))
    optional = [name for name in form.names if name not in form.stars]
    chosen = (
        [*form.stars, *draw(st.lists(st.sampled_from(optional), unique=True))]
        if optional
        else list(form.stars)
    )
    strangers = draw(st.lists(st.sampled_from(["weather", "ref", "colour"]), unique=True))
    return form.kind, draw(st.permutations([*chosen, *strangers]))


@given(headers())
def test_every_kind_with_any_of_its_optional_columns_is_told_apart(case: tuple[str, list[str]]) -> None:
    kind, names = case
    assert form_of(names).kind == kind


def test_every_kind_with_all_its_columns_and_with_none_but_the_starred_is_told() -> None:
    for form, names in itertools.chain(
        ((form, form.names) for form in FORMS), ((form, form.stars) for form in FORMS)
    ):
        shuffled = random.Random(7).sample(names, len(names))
        assert form_of(header_name(name.upper().replace("_", " ")) for name in shuffled).kind == form.kind


@pytest.mark.parametrize(
    ("names", "text"),
    [
        (
            ["object", "phase", "technique", "persons", "date", "hours"],
            'looks like time entries, but lacks the column "person". Perhaps rename "persons" to "person".',
        ),
        (
            ["weight", "colour"],
            (
                'is none of the known forms; the nearest is phases, which needs the columns "phase",'
                ' "position". Add it to the first row; the columns of each form are in the Guide,'
                " under CSV files."
            ),
        ),
        (
            ["object", "version", "phase", "technique", "hours"],
            (
                'looks like estimates, but lacks the column "made_on". Add it to the first row; the columns'
                " of each form are in the Guide, under CSV files."
            ),
        ),
        (
            ["phase", "note"],
            (
                'is none of the known forms; the nearest is phases, which needs the column "position". Add it'
                " to the first row; the columns of each form are in the Guide, under CSV files."
            ),
        ),
    ],
)
def test_a_file_of_no_kind_names_the_nearest_and_what_it_lacks(names: list[str], text: str | None) -> None:
    with pytest.raises(FileError) as caught:
        form_of(names)
    assert text is None or str(caught.value) == text
