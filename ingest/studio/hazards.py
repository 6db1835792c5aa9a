"""The usual cautions of the techniques in play, said briefly. The tool never says that a thing is safe."""

from __future__ import annotations

from collections.abc import Iterable

from ingest.studio.vocabulary import Vocabulary

WORDS = {
    "solvent": "solvents",
    "blade": "blades",
    "heat": "heat",
    "dust": "dust",
    "mould": "mould",
    "old_pigment": "old pigments (lead, arsenic, mercury)",
    "repetitive": "repetitive work",
    "lifting": "lifting",
}
SHORTLY = "Follow the safety data sheet, the law where you work and licensed practice."
DEFERRING = (
    "Not safety advice: follow the safety data sheet of the product, the law where you work and licensed"
    " practice."
)


def usual_cautions(vocabulary: Vocabulary, techniques: Iterable[str]) -> str:
    """One line on what these techniques carry, or nothing."""
    carried: dict[str, list[str]] = {}
    for name in dict.fromkeys(techniques):
        for caution in vocabulary.techniques[name].cautions if name in vocabulary.techniques else ():
            carried.setdefault(caution, []).append(name)
    if not carried:
        return ""
    classes = [
        f"{WORDS[caution]} ({', '.join(names[:3])}{' and others' if len(names) > 3 else ''})"
        for caution, names in carried.items()
    ]
    return f"Usual caution with {'; '.join(classes)}. {DEFERRING}"
