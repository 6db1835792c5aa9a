"""Labels lead to the form on their work, and tell nothing but its code."""

from __future__ import annotations

import io
import re
import zlib
from pathlib import Path
from urllib.parse import unquote

import pytest
import segno
import zxingcpp
from PIL import Image

from dashboard.cli.main import main
from dashboard.documents import labels as labels_document
from ingest.errors import BenchHoursError
from ingest.store import Store
from tests.conftest import bring_into

ADDRESS = "https://192.168.1.20:8411"
CODES = [
    "24-001",
    "26-014",
    "Ü/x#<b>&?=%",
    "two words",
    "דו-קוד",
    "🖼 7",
    "A code of a work that somebody made far too long, 2026/17 b, upper left",
    "'\"`${}",
]


def scanned(picture: bytes) -> list[str]:
    """What another program (ZXing) reads on a picture."""
    return [read_barcode.text for read_barcode in zxingcpp.read_barcodes(Image.open(io.BytesIO(picture)))]


@pytest.mark.parametrize("size", labels_document.SIZES)
def test_each_label_leads_to_the_form_on_its_work(size: str) -> None:
    if size == "A4":
        read = scanned(labels_document.compiled(CODES, ADDRESS, size, "png"))
    else:
        read = [
            text for code in CODES for text in scanned(labels_document.compiled([code], ADDRESS, size, "png"))
        ]
    assert sorted(unquote(text) for text in read) == sorted(f"{ADDRESS}/log#work={code}" for code in CODES)


def test_the_longest_code_is_still_scanned_from_the_smallest_label() -> None:
    assert (
        len(
            scanned(
                labels_document.compiled(
                    ["9" * 120], "https://a-long-name-of-a-machine.internal:65535", "54x25", "png"
                )
            )
        )
        == 1
    )


def test_a_sheet_of_a4_has_24_labels_a_page_and_a_label_printer_one(tmp_path: Path) -> None:
    """ISO 216: A4 is 210 × 297 mm, in points of 1/72 inch 595.28 × 841.89."""
    codes = [f"25-{number:03}" for number in range(50)]
    sheet, single = (
        labels_document.sheet(codes, ADDRESS, "A4"),
        labels_document.sheet(codes[:3], ADDRESS, "62x29"),
    )
    for pdf, pages, width, height in (
        (sheet, 3, 595.28, 841.89),
        (single, 3, 62 / 25.4 * 72, 29 / 25.4 * 72),
    ):
        boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", unpacked(pdf))
        assert len(boxes) == pages
        assert {(round(float(w)), round(float(h))) for w, h in boxes} == {(round(width), round(height))}


def unpacked(pdf: bytes) -> bytes:
    """A PDF with its packed streams beside it (ISO 32000: FlateDecode)."""
    found = [pdf]
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(packed))
        except zlib.error:
            continue
    return b"\n".join(found)


def test_what_is_drawn_is_a_qr_code_of_the_address_and_nothing_else() -> None:
    address = labels_document.form_address(ADDRESS, "24-001")
    assert address == f"{ADDRESS}/log#work=24-001"
    assert int(segno.make(address, error="m", micro=False).version) >= 1
    assert "<script" not in labels_document.qr_svg(address)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "192.168.1.20",
        "ftp://a",
        "https://",
        "https://a/b",
        "https://a?b=c",
        "https://a#b",
        "javascript:alert(1)",
        f"https://{'a' * 1000}",
    ],
)
def test_what_is_no_address_of_the_studio_is_refused(text: str) -> None:
    with pytest.raises(BenchHoursError, match=r"Write it like https://192\.168\.1\.20:8411"):
        labels_document.checked_address(text)


def test_the_command_writes_labels_of_the_works_on_the_bench_without_title_and_owner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    db = tmp_path / "studio.duckdb"
    with Store(db) as store:
        bring_into(
            store,
            tmp_path,
            "objects.csv",
            "object,title,owner,finished_on\n24-001,Ferry in snow,Orla Bankside,\n24-002,Weir at"
            " dusk,,2026-01-02\n",
        )
    file = tmp_path / "labels.pdf"
    assert main(["labels", str(file), "--db", str(db)]) == 2 and "--address" in capsys.readouterr().err
    assert main(["labels", str(file), "--db", str(db), "--address", ADDRESS + "/"]) == 0
    assert "1 label that lead" not in (told := capsys.readouterr().out) and "1 label" in told
    content = unpacked(file.read_bytes())
    assert b"Ferry" not in content and b"Bankside" not in content
    assert (
        main(
            [
                "labels",
                str(file),
                "--db",
                str(db),
                "--address",
                ADDRESS,
                "--object",
                "24-002",
                "--object",
                "24-001",
            ]
        )
        == 0
    )
    assert "2 labels" in capsys.readouterr().out
    assert main(["labels", str(file), "--db", str(db), "--address", ADDRESS, "--object", "24-009"]) == 2
    assert main(["labels", str(tmp_path / "no" / "where.pdf"), "--db", str(db), "--address", ADDRESS]) == 2
    assert main(["labels", str(file), "--db", str(db), "--address", "nowhere"]) == 2
