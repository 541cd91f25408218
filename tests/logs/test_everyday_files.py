"""Notes as they lie on phones and desks: documents, mails, pages, other languages; read as they were meant."""

from __future__ import annotations

import io
import json
import zipfile
from email.message import EmailMessage

import numpy as np
import openpyxl
import pytest
from odf.opendocument import OpenDocumentText
from odf.table import Table, TableCell, TableRow
from odf.text import P

from speedcal.errors import SpeedcalError
from speedcal.logs import read_readings
from speedcal.logs.writing.words_abroad import in_figures_abroad
from speedcal.units import KMH_MPS, MPH_MPS

NOTED = [(10, 4, 30, 48), (10, 5, 15, 72), (10, 6, 12, 93), (10, 7, 21, 100), (10, 10, 3, 80), (10, 12, 2, 61)]
TIMES = [3600 * h + 60 * m + s for h, m, s, _ in NOTED]
SPEEDS = [v for *_, v in NOTED]
LINES = [f"{h}:{m:02d}:{s:02d} {v}" for h, m, s, v in NOTED]


def _check(path, unit_mps=MPH_MPS, times=TIMES):
    readings = read_readings(path)
    np.testing.assert_allclose(readings.speed_mps / unit_mps, SPEEDS)
    np.testing.assert_allclose(np.diff(readings.time_s), np.diff(times))
    return readings


def _written(tmp_path, content):
    path = tmp_path / "notes"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    "row",
    [
        "{h}:{m:02d}:{s:02d} {v} (gps {g})",
        "{v} at {h}:{m:02d} and {s}",
        "{v} at {h}:{m:02d} and {s} seconds",
        "{h} Uhr {m} und {s} Sekunden: {v}",
        "{h}{m:02d}:{s:02d} {v}".replace("{h}", "{h:02d}"),
        "- [x] {h}:{m:02d}:{s:02d} {v}",
        "between {h}:{m:02d}:{b:02d} and {h}:{m:02d}:{e:02d} it read {v}",
    ],
)
def test_a_time_and_a_speed_are_told_apart_however_they_are_put(tmp_path, row):
    """What the receiver showed beside the dial is no reading; words join minutes and seconds."""
    lines = [row.format(h=h, m=m, s=s, v=v, g=v - 3, b=s - 2, e=s + 2) for h, m, s, v in NOTED]
    _check(_written(tmp_path, "# speedo, mph\n" + "\n".join(lines)))


@pytest.mark.parametrize(
    ("row", "unit_mps"),
    [
        ("à {h} h {m:02d} : {v} km/h", KMH_MPS),
        ("{h} Uhr {m} {v} Kilometer pro Stunde", KMH_MPS),
        ("{h:02d}{m:02d} hrs {v} mph", MPH_MPS),
        ("{v} mph, {m} minutes past ten", MPH_MPS),
    ],
)
def test_whole_minutes_are_read_as_they_are_said(tmp_path, row, unit_mps):
    """Signs and words for hours, in French, German and English."""
    lines = [row.format(h=h, m=m, v=v) for h, m, _, v in NOTED]
    _check(_written(tmp_path, "\n".join(lines)), unit_mps, [3600 * h + 60 * m for h, m, *_ in NOTED])


WORDS = {
    "de": "achtundvierzig zweiundsiebzig dreiundneunzig hundert achtzig einundsechzig",
    "fr": "quarante-huit soixante-douze quatre-vingt-treize cent quatre-vingts soixante_et_un",
    "fr_ch": "quarante-huit septante-deux nonante-trois cent huitante soixante_et_un",
    "es": "cuarenta_y_ocho setenta_y_dos noventa_y_tres cien ochenta sesenta_y_uno",
    "it": "quarantotto settantadue novantatré cento ottanta sessantuno",
    "nl": "achtenveertig tweeënzeventig drieënnegentig honderd tachtig eenenzestig",
    "pt": "quarenta_e_oito setenta_e_dois noventa_e_três cem oitenta sessenta_e_um",
}


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
def test_numbers_in_words_of_other_languages_are_read(tmp_path, words):
    """As dictated; grammar of each language."""
    said = [word.replace("_", " ") for word in words.split()]
    lines = [f"{h}:{m:02d}:{s:02d} {word}" for (h, m, s, _), word in zip(NOTED, said, strict=True)]
    _check(_written(tmp_path, "km/h\n" + "\n".join(lines)), KMH_MPS)


@pytest.mark.parametrize(
    "lines",
    [
        ["a hundred yards on", "one cent off", "ten lanes", "six dogs", "once more"],
        ["10:04:30 45", "dix", "un", "sei", "dos"],
    ],
)
def test_words_that_are_numbers_elsewhere_are_left_alone(lines):
    """Several lines must hold a number of 20 and more in one language."""
    numbered = list(enumerate(lines, 1))
    assert list(in_figures_abroad(numbered)) == numbered


def test_dictated_seconds_are_joined_to_the_minutes(tmp_path):
    """``Ten oh four and thirty`` is 10:04:30."""
    text = (
        "mph\n48 at ten oh four and thirty\n72 at ten oh five and fifteen\n93 at ten oh six and twelve seconds\n"
        "100 at ten oh seven and twenty one\n80 at ten ten and three\n61 at ten twelve and two\n"
    )
    _check(_written(tmp_path, text))


@pytest.mark.parametrize(
    "text",
    [
        ". ".join(f"At {time} it said {v} miles an hour" for time, v in (line.split() for line in LINES)) + ".",
        "48: 10:04:30, 10:05:15\n72: 10:06:12\n",
        "Time\n" + "\n".join(line.split()[0] for line in LINES) + "\nmph\n" + "\n".join(map(str, SPEEDS)),
        "time,mph\n" + "\n".join(f"{line.replace(' ', ',')},uphill, gusty" for line in LINES),
    ],
    ids=["sentences", "times under a speed", "one column below the other", "a remark with a comma"],
)
def test_each_reading_keeps_its_time(tmp_path, text):
    """In one paragraph, under the speed held, or copied column by column from a printed table."""
    path = _written(tmp_path, text if "48: " not in text else f"mph\n{text}")
    if "48: " in text:
        readings = read_readings(path)
        np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [48, 48, 72])
        np.testing.assert_allclose(readings.time_s, TIMES[:3])
    else:
        _check(path)


def test_minutes_and_seconds_with_a_point_between_are_no_decimals(tmp_path):
    """A header says which: 1.30 under ``min.sec`` is 90 s, under ``minutes`` 78 s."""
    for header, seconds in (("elapsed min.sec", [0, 45, 90]), ("elapsed minutes", [0, 27, 78])):
        readings = read_readings(_written(tmp_path, f"{header},mph\n0.00,48\n0.45,72\n1.30,93\n"))
        np.testing.assert_allclose(readings.time_s, seconds)


def test_a_timer_that_shows_what_is_left_runs_back(tmp_path):
    """Ten minutes to go come before nine."""
    lines = [
        f"{(700 - t + TIMES[0]) // 60}:{(700 - t + TIMES[0]) % 60:02d},{v}" for t, v in zip(TIMES, SPEEDS, strict=True)
    ]
    _check(_written(tmp_path, "timer remaining mm:ss,mph\n" + "\n".join(lines)))


@pytest.mark.parametrize(
    "content",
    [
        {"unit": "mph", "readings": {line.split()[0]: v for line, v in zip(LINES, SPEEDS, strict=True)}},
        {"dial_mph": {line.split()[0]: v for line, v in zip(LINES, SPEEDS, strict=True)}},
        {"unit": "mph", "notes": [[line.split()[0], v] for line, v in zip(LINES, SPEEDS, strict=True)]},
    ],
)
def test_json_of_speeds_by_their_times_is_read(tmp_path, content):
    """An object, or a list of pairs."""
    _check(_written(tmp_path, json.dumps(content)))


def test_a_column_of_notes_in_a_workbook_is_read(tmp_path):
    """A time and a speed in each cell, no header."""
    book = openpyxl.Workbook()
    for cell in ["mph", *LINES]:
        book.active.append([cell])
    book.save(tmp_path / "notes.xlsx")
    _check(tmp_path / "notes.xlsx")


def _docx(body):
    space = 'xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main"'
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("word/document.xml", f"<w:document {space}><w:body>{body}</w:body></w:document>")
    return file.getvalue()


def _paragraph(text):
    return f"<w:p><w:r><w:t>{text}</w:t></w:r></w:p>"


def _odt(*, table):
    document = OpenDocumentText()
    rows = [("time", "dial (mph)"), *(line.split() for line in LINES)]
    if table:
        sheet = Table()
        for row in rows:
            made = TableRow()
            for text in row:
                cell = TableCell()
                cell.addElement(P(text=text))
                made.addElement(cell)
            sheet.addElement(made)
        document.text.addElement(sheet)
    else:
        for text in ["Speedo, mph", *LINES]:
            document.text.addElement(P(text=text))
    file = io.BytesIO()
    document.write(file)
    return file.getvalue()


def _mail(*, coded, subtype="plain"):
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Date"] = "driver@example.org", "shop@example.org", "Fri, 12 Mar 2027 18:03:00 +0100"
    mail["Subject"] = "speedo readings in mph"
    lines = [line.replace(" ", " \u2013 ") for line in LINES]
    body = "\n".join(lines) if subtype == "plain" else "".join(f"<p>{line}</p>" for line in lines)
    mail.set_content(f"{body}\n", subtype=subtype, cte=coded)
    return mail.as_bytes()


CELLS = "".join(
    f"<w:tr>{''.join(f'<w:tc>{_paragraph(cell)}</w:tc>' for cell in row)}</w:tr>"
    for row in [("time", "dial (mph)"), *(line.split() for line in LINES)]
)
DOCUMENTS = {
    "docx": _docx("".join(map(_paragraph, ["Speedo, mph", *LINES]))),
    "docx with a table": _docx(f"<w:tbl>{CELLS}</w:tbl>"),
    "docx with what was taken out": _docx(
        "".join(map(_paragraph, ["mph", *LINES]))
        + "<w:p><w:del><w:r><w:delText>11:00:00 99</w:delText></w:r></w:del></w:p>"
    ),
    "odt": _odt(table=False),
    "odt with a table": _odt(table=True),
    "rtf": r"{\rtf1\ansi{\fonttbl\f0\fswiss Helvetica 12;}\f0\fs24 Speedo, mph\par "
    + "".join(rf"{line.replace(' ', chr(92) + 'tab ')}\par" + "\n" for line in LINES)
    + "}",
    "rtf of numbered characters": r"{\rtf1\ansi\uc0 mph\par "
    + "".join(rf"{line.replace(' ', chr(92) + 'u8211 ')}\par" + "\n" for line in LINES)
    + "}",
    "rtf with a table": r"{\rtf1 "
    + "".join(
        rf"\trowd\cellx2000\cellx4000\intbl {a}\cell {b}\cell\row" + "\n"
        for a, b in [("time", "dial (mph)"), *(line.split() for line in LINES)]
    )
    + "}",
    "mail": _mail(coded="quoted-printable"),
    "mail in base 64": _mail(coded="base64"),
    "mail as a page": _mail(coded="quoted-printable", subtype="html"),
    "page of paragraphs": "<html><head><title>12 notes</title></head><body><p>mph</p>"
    + "".join(f"<p>{line.replace(' ', '&nbsp;<b>')}</b></p>" for line in LINES)
    + "</body></html>",
    "page of a list": "<!DOCTYPE html><html><body><h1>Speedo mph</h1><ul>"
    + "".join(f"<li>{line.replace(' ', ' &ndash; ')}</li>" for line in LINES)
    + "</ul><script>var a = '10:00:00 99';</script></body></html>",
}


@pytest.mark.parametrize("content", DOCUMENTS.values(), ids=DOCUMENTS)
def test_notes_in_a_document_are_read_as_text(tmp_path, content):
    """ISO/IEC 29500 and 26300, rich text, RFC 5322 mail, HTML."""
    _check(_written(tmp_path, content))


def test_a_web_table_in_its_declared_encoding_is_read(tmp_path):
    """What spreadsheets save as a page declares Windows-1252, not UTF-8."""
    rows = "".join(f"<tr><td>{time}</td><td>{v}</td></tr>" for time, v in (line.split() for line in LINES))
    head = '<html><head><meta charset="windows-1252"></head><table><tr><td>Zeit</td><td>Tacho (mph) für Öl</td></tr>'
    _check(_written(tmp_path, (head + rows + "</table></html>").encode("cp1252")))


PART = b"--a\nContent-Type: multipart/mixed; boundary=a\n\n"
NESTED_MAIL = b"MIME-Version: 1.0\nContent-Type: multipart/mixed; boundary=a\n\n" + 5_000 * PART


@pytest.mark.parametrize(
    "data", [b"<html>" + b"<script>" * 200_000, b"{\\rtf1" + b"{" * 1_000_000, b"{\\rtf1 \\'zz }}} 1", NESTED_MAIL]
)
def test_a_page_or_document_that_never_ends_is_refused(tmp_path, data):
    """No notes in it, and no time lost."""
    with pytest.raises(SpeedcalError) as caught:
        read_readings(_written(tmp_path, data))
    assert caught.value.code == ("readings_missing" if data is NESTED_MAIL else "not_a_log")
