"""Reading the database: each function gives a frame or a value, computed from what is stored.

One module a subject; `from dashboard import queries` has them all.
"""

from dashboard.queries.base import Row
from dashboard.queries.entries import (
    dated_hours,
    earlier_entries,
    entries,
    held_back,
    hours_by_day,
    person_hours,
    who_did,
)
from dashboard.queries.estimates import (
    approved_option,
    estimate_lines,
    latest_standing,
    latest_version,
    own_figures,
    quoted_lines,
    versions,
    waiting_versions,
)
from dashboard.queries.forecast import found_when, line_history, progress
from dashboard.queries.overruns import OVERRUN_KEYS, overruns, yardstick
from dashboard.queries.pauses import cautioned
from dashboard.queries.plan import bench_weeks, planned_lines, waiting_in_hand
from dashboard.queries.promises import approved_lines, approved_promises, outcomes, promises, ranges_by_hand
from dashboard.queries.rates import (
    bears_on,
    left_out,
    pins,
    quotes_of_a_rate,
    rated_techniques,
    record,
    teaching_works,
)
from dashboard.queries.studio import (
    holdings,
    people,
    phase_positions,
    phases,
    phases_by_key,
    said_before,
    spellings,
    techniques_by_key,
    today,
    usual_phases,
    vocabulary_use,
)
from dashboard.queries.works import (
    anything_on_the_bench,
    area_dm2,
    compared_within,
    known,
    milestones,
    of_owner,
    owners,
    work,
    works,
)
from dashboard.queries.year import hours_of_months, logged_since, logged_years

__all__ = [
    "OVERRUN_KEYS",
    "Row",
    "anything_on_the_bench",
    "approved_lines",
    "approved_option",
    "approved_promises",
    "area_dm2",
    "bears_on",
    "bench_weeks",
    "cautioned",
    "compared_within",
    "dated_hours",
    "earlier_entries",
    "entries",
    "estimate_lines",
    "found_when",
    "held_back",
    "holdings",
    "hours_by_day",
    "hours_of_months",
    "known",
    "latest_standing",
    "latest_version",
    "left_out",
    "line_history",
    "logged_since",
    "logged_years",
    "milestones",
    "of_owner",
    "outcomes",
    "overruns",
    "own_figures",
    "owners",
    "people",
    "person_hours",
    "phase_positions",
    "phases",
    "phases_by_key",
    "pins",
    "planned_lines",
    "progress",
    "promises",
    "quoted_lines",
    "quotes_of_a_rate",
    "ranges_by_hand",
    "rated_techniques",
    "record",
    "said_before",
    "spellings",
    "teaching_works",
    "techniques_by_key",
    "today",
    "usual_phases",
    "versions",
    "vocabulary_use",
    "waiting_in_hand",
    "waiting_versions",
    "who_did",
    "work",
    "works",
    "yardstick",
]
