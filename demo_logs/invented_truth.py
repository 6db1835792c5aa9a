"""True rates and spreads of the invented studio, and the words its works are made of."""

from __future__ import annotations

from datetime import date

SEED = 20_221
FIRST_DAY = date(2022, 10, 3)
LAST_DAY = date(2026, 10, 30)
FINISHED_WORKS = 60
OPEN_WORKS = 6
PEOPLE = {"Tamsin": 1.0, "Ilse": 0.92, "Bram": 1.22}  # true pace: hours against the studio's
ELASTICITY = 0.88
WORK_SD = 0.24  # of log hours, shared by the lines of a work
LINE_SD = 0.30  # of log hours, of each line

# technique: phase, true hours of the reference quantity, reference quantity, unit
TRUE_HOURS: dict[str, tuple[str, float, float, str]] = {
    "examination in visible light": ("examination", 1.2, 1, ""),
    "examination in ultraviolet light": ("examination", 0.7, 1, ""),
    "solvent tests": ("examination", 1.4, 6, "pcs"),
    "photography before treatment": ("documentation", 0.8, 6, "pcs"),
    "condition report": ("documentation", 1.8, 1, ""),
    "treatment proposal": ("documentation", 1.4, 1, ""),
    "unframing": ("dismounting", 0.5, 1, "pcs"),
    "tack and nail removal": ("dismounting", 1.3, 40, "pcs"),
    "taking off the stretcher": ("dismounting", 1.2, 260, "cm"),
    "facing": ("stabilisation", 1.9, 30, "dm2"),
    "consolidation": ("stabilisation", 3.4, 20, "dm2"),
    "facing removal": ("stabilisation", 1.1, 30, "dm2"),
    "lining removal dry": ("old lining and repairs", 4.2, 40, "dm2"),
    "adhesive residue removal": ("old lining and repairs", 7.5, 40, "dm2"),
    "patch removal": ("old lining and repairs", 1.2, 2, "pcs"),
    "flattening by moisture": ("structural repair", 2.6, 40, "dm2"),
    "tear mending thread by thread": ("structural repair", 5.5, 8, "cm"),
    "inlay": ("structural repair", 2.2, 0.5, "dm2"),
    "strip lining": ("structural repair", 4.5, 260, "cm"),
    "lining": ("structural repair", 6.5, 40, "dm2"),
    "stretching": ("structural repair", 2.2, 260, "cm"),
    "panel split repair": ("structural repair", 5.0, 30, "cm"),
    "surface cleaning aqueous": ("cleaning", 3.2, 40, "dm2"),
    "surface cleaning dry": ("cleaning", 0.9, 40, "dm2"),
    "varnish removal with free solvents": ("varnish and overpaint", 7.0, 40, "dm2"),
    "varnish removal with solvent gel": ("varnish and overpaint", 9.5, 40, "dm2"),
    "overpaint removal": ("varnish and overpaint", 6.0, 4, "dm2"),
    "old fill removal": ("varnish and overpaint", 1.6, 0.8, "dm2"),
    "filling": ("filling", 2.3, 1.5, "dm2"),
    "texturing": ("filling", 1.1, 1.2, "dm2"),
    "isolating varnish": ("retouching", 0.8, 40, "dm2"),
    "retouching": ("retouching", 8.5, 3, "dm2"),
    "varnishing by brush": ("varnishing", 1.0, 40, "dm2"),
    "varnishing by spray": ("varnishing", 1.3, 40, "dm2"),
    "frame cleaning": ("framing", 2.4, 280, "cm"),
    "backing board": ("framing", 0.9, 1, "pcs"),
    "fitting in the frame": ("framing", 1.2, 1, "pcs"),
    "final report": ("documentation", 2.2, 1, ""),
    "packing": ("handover", 0.9, 1, "pcs"),
    "client meeting": ("handover", 1.1, 1, ""),
    "paper dry cleaning": ("cleaning", 1.5, 20, "dm2"),
    "paper tear repair": ("structural repair", 1.6, 12, "cm"),
    "hinging and mounting": ("framing", 1.2, 1, "pcs"),
}
# How the studio's own estimates stand to the truth, by phase: under 1 is chronically too little.
ESTIMATE_BIAS = {
    "examination": 0.95,
    "documentation": 1.18,
    "dismounting": 0.92,
    "stabilisation": 0.84,
    "old lining and repairs": 0.56,
    "structural repair": 0.78,
    "cleaning": 1.02,
    "varnish and overpaint": 0.70,
    "filling": 0.95,
    "retouching": 0.82,
    "varnishing": 1.15,
    "framing": 1.06,
    "handover": 0.88,
}
# Techniques that turn up unforeseen, and the chance of it in a work on canvas.
DISCOVERIES = {
    "overpaint removal": 0.26,
    "old fill removal": 0.22,
    "consolidation": 0.14,
    "patch removal": 0.12,
    "inlay": 0.10,
}
UNATTENDED_AFTER = {
    "lining": ("pressing", 20),
    "flattening by moisture": ("pressing", 44),
    "tear mending thread by thread": ("pressing", 18),
    "facing": ("pressing", 16),
    "varnishing by brush": ("varnish drying", 40),
    "isolating varnish": ("varnish drying", 18),
    "panel split repair": ("pressing", 68),
}
PLACES = (
    "Harbour",
    "Mill pond",
    "Orchard",
    "Ferry",
    "Chalk pit",
    "Market street",
    "Weir",
    "Heath",
    "Quarry",
    "Tollhouse",
)
LIGHTS = (
    "at dusk",
    "in snow",
    "after rain",
    "with cattle",
    "in spring",
    "by lamplight",
    "with washing lines",
    "seen from the hill",
)
SITTERS = (
    "A ropemaker",
    "Woman with a blue shawl",
    "The notary's children",
    "Girl with a kite",
    "A ship's carpenter",
    "Man reading",
)
MAKERS = (
    "unknown, about 1780",
    "unknown, about 1840",
    "Adelheid Forst",
    "Corin Maybrook",
    "L. Tessel",
    "workshop piece, unsigned",
    "Odo Penhallow",
)
OWNERS = (
    "family Brandreth",
    "family Okell",
    "parish of Saint Wendreda",
    "Mr Lowther-Quill",
    "Mrs Anstruther-Vane",
    "the Tidewell reading room",
)
STUDIO_TIME = (
    ("accounts", 1.2),
    ("enquiries", 0.5),
    ("supplies", 0.7),
    ("quoting", 0.9),
    ("studio upkeep", 0.6),
    ("teaching", 1.5),
)
