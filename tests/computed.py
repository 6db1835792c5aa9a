"""Results that tests share: what the analysis computed from the same input in this process is not computed
again by the next test.

Inputs are the same where their content is, by the digest with which the product itself knows a result again,
so no test sees a figure that it would not have computed. Tests of the computations themselves (in
`tests/dashboard/analysis` and `tests/published`) and tests that compute twice on purpose (`forget`) share
nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

from dashboard.analysis.models import calibration
from dashboard.analysis.simulation import completion, discovery_model
from dashboard.services.result_cache import content_digest

_COMPUTATIONS = ((calibration, "learn"), (discovery_model, "learn"), (completion, "forecast"))
_MOST = 150  # of a few MB at most
_results: dict[tuple[object, ...], Any] = {}
_names: dict[int, str] = {}
"""The digests of results that are inputs of others, by their identity: they are kept, so it stays theirs."""


def _digest(value: object) -> str:
    return _names.get(id(value)) or content_digest(value)


def _shared(module: ModuleType, name: str) -> Callable[..., Any]:
    compute: Callable[..., Any] = getattr(module, name)

    def look_up(*args: object, **options: object) -> Any:
        key = (
            module.__name__,
            *map(_digest, args),
            *((option, _digest(value)) for option, value in sorted(options.items())),
        )
        if key not in _results:
            if len(_results) >= _MOST:
                _names.pop(id(_results.pop(next(iter(_results)))))
            result = _results[key] = compute(*args, **options)
            _names[id(result)] = content_digest(key)
        return _results[key]

    return look_up


def share(monkeypatch: pytest.MonkeyPatch) -> None:
    """Until the end of a test: let it take what was computed before, and leave what it computes."""
    for module, name in _COMPUTATIONS:
        monkeypatch.setattr(module, name, _shared(module, name))


def forget() -> None:
    """What comes next is computed anew."""
    _results.clear()
    _names.clear()
