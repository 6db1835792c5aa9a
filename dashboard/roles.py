"""Pages and paths that each role opens, and their description in words."""

from __future__ import annotations

from ingest.devices import Role

PAGES_FOR_ALL = {"where_the_hours_went": "Where the hours went", "one_work": "One work"}
OWN = {"hours_worth_a_pause": "Hours worth a pause"}
"""Pages that show each person their own hours: not on a device that several share, nor where the studio does
not want them.
"""
GUIDE = {"guide": "Guide"}
PAGES: dict[Role, dict[str, str]] = {
    "principal": (
        {"on_the_bench": "On the bench", "bench_plan": "Bench plan"}
        | PAGES_FOR_ALL
        | {
            "our_rates": "Our rates",
            "quote_a_work": "Quote a work",
            "promised_and_kept": "Promised and kept",
            "the_year": "The year",
            **OWN,
            "works": "Works",
            "estimate": "Estimate",
            "bring_in_logs": "Bring in logs",
            "studio": "Studio",
            "safe_keeping": "Safe keeping",
            "who_may_come_in": "Who may come in",
            **GUIDE,
        }
    ),
    "reviews": PAGES_FOR_ALL | OWN | GUIDE,
    "logs": {},
}
"""The pages that a role opens, by the names of their scripts, in their order."""

WORDS: dict[Role, str] = {
    "logs": "logs: the form to log hours, and one’s own hours worth a pause; nothing else",
    "reviews": "reviews: where the hours went, by codes of works; no people, prices, titles, owners or notes",
    "principal": "principal: everything",
}
OPENS: dict[Role, str] = {
    "logs": "is for the form to log hours, and for one’s own hours worth a pause, only",
    "reviews": "is for looking at where the hours went, and for one’s own hours worth a pause, only",
    "principal": "opens everything",
}
READS = frozenset({"GET", "HEAD"})
_OF_ANY_PAGE = ("/_stcore/", "/static/", "/media/", "/component/", "/favicon.png")
"""What the library behind the pages needs for each of them."""


def is_of_the_form(path: str) -> bool:
    """It belongs to the form to log hours."""
    return path == "/log" or path.startswith("/log/")


def is_ones_own(path: str) -> bool:
    """It shows a person's own hours, on a device of that person."""
    return path == "/pauses"


def opens(role: Role, kind: str, method: str, path: str) -> bool:
    """A role opens a path; `kind` is http or websocket."""
    match role:
        case "principal":
            return True
        case "logs":
            return kind == "http" and (is_of_the_form(path) or (is_ones_own(path) and method in READS))
        case "reviews":
            own = (
                path == "/"
                or path.strip("/").replace("-", "_") in PAGES["reviews"]
                or path.startswith(_OF_ANY_PAGE)
                or is_ones_own(path)
            )
            return own and (kind == "websocket" or method in READS)
    return False
