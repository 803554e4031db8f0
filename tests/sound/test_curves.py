"""Curves that were measured elsewhere."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import BadInputError
from conewright.sound.measured.curves import MOST_BYTES, MOST_ROWS, Curve, read_curve


def read(text: str, name: str = "left.txt") -> Curve:
    return read_curve(text.encode(), name=name)


# --- Columns ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "20 5.5 10\n30 6.25 -20\n",
        "20\t5.5\t10\r\n30\t6.25\t-20\r\n",
        "20;5,5;10\n30;6,25;-20",
        "20;5.5;10;\n30;6.25;-20;",
        "20,5.5,10\n30,6.25,-20",
        "20, 5.5, 10\n30, 6.25, -20",
        "20,0, 5,5, 10,0\n30,0, 6,25, -20,0",
        "20,0 5,5 10\n30,0 6,25 -20",
        "20\t5,5\t10\n30\t6,25\t-20",
        '"20","5.5","10"\n"30","6.25","-20"',
        "2e1 5.5E0 +10\n3.0e+1 .625e1 -20",
        "30 6.25 -20\n20 5.5 10",
        "* made at 48 kHz\n\nFreq(Hz) Z(ohm) Phase(deg)\n\n20 5.5 10\n# a word\n30 6.25 -20",
        "Frequency [kHz];Impedance [ohm];Phase\n0,020;5,5;10\n0,030;6,25;-20",
        "f/kHz\t|Z|\tdeg\n.02\t5.5\t10\n.03\t6.25\t-20",
    ],
)
def test_columns_are_read_however_they_are_parted(text: str) -> None:
    # closed form: every text holds the same three columns
    curve = read(text)
    np.testing.assert_allclose(curve.frequency, [20.0, 30.0])
    np.testing.assert_allclose(curve.magnitude, [5.5, 6.25])
    assert curve.phase is not None
    np.testing.assert_allclose(np.rad2deg(curve.phase), [10.0, -20.0])
    assert curve.kind == "impedance"
    assert curve.name == "left.txt"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding: str) -> None:
    text = "Hz\tGröße dB\n20\t80\n25\t81\n"
    curve = read_curve(text.encode(encoding), name="a")
    np.testing.assert_allclose(curve.magnitude, [80.0, 81.0])
    assert curve.kind == "level"
    assert curve.phase is None


@pytest.mark.parametrize(
    ("text", "kind", "reason"),
    [
        ("Hz ohm\n20 90\n30 95", "impedance", "heading says"),
        ("Hz \u2126\n20 90\n30 95", "impedance", "heading says"),
        ("Hz dBSPL\n20 9\n30 9", "level", "heading says"),
        ("Hz dB (ohm)\n20 9\n30 9", "impedance", "all values are above zero"),
        ("20 -3\n30 6", "level", "not above zero"),
        ("20 80\n30 95", "level", "too much for ohm"),
        ("20 4.1\n30 17", "impedance", "half of them below"),
    ],
)
def test_the_kind_is_guessed_and_says_why(text: str, kind: str, reason: str) -> None:
    curve = read(text)
    assert curve.kind == kind
    assert reason in curve.reason


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "found no row of numbers"),
        ("only words\nand more", "found no row of numbers"),
        ("20 5\n30 x", 'line 2: found "x"; a finite number is wanted'),
        ("20 5\n30 1e999", 'line 2: found "1e999"'),
        ("20 5\n30 nan", 'line 2: found "nan"'),
        ("20 5\n30 6 7", "line 2: found 3; a row has 2 numbers, as in the first row"),
        ("20\n30", "line 1: found 1; a row has 2 or 3 numbers"),
        ("20 5 6 7\n30 5 6 7", "line 1: found 4; a row has 2 or 3 numbers"),
        ("20 5\n\n20 6", "line 3: found 20; frequencies rise from row to row"),
        ("30 5\n20 6\n25 6", "line 3: found 25; frequencies fall from row to row"),
        ("0 5\n20 6", "line 1: found 0 Hz; a frequency is above zero"),
        ("-1 5\n20 6", "line 1: found -1 Hz"),
        ("Hz ohm\n20 5\n30 0", "line 3: found 0 ohm; an impedance is above zero"),
        ("1.000,5;3\n1.001,5;4", "line 1: found .* one decimal mark and no thousands"),
        ("20;1,000,000\n30;2", "line 1: found .* one decimal mark"),
        ("20 5\nend of data\n30 6", 'line 2: found "end of data"; rows of numbers follow'),
        ("20 5\n30\0 6", "bytes that are no text"),
    ],
)
def test_what_is_no_curve_is_refused_by_its_line(text: str, words: str) -> None:
    with pytest.raises(BadInputError, match=f"^left.txt[:,] .*{words}"):
        read(text)


def test_too_many_bytes_and_rows_are_refused() -> None:
    with pytest.raises(BadInputError, match=r"found 20\.0 MB; a curve has at most 20 MB"):
        read_curve(b"1" * (MOST_BYTES + 1), name="left.txt")
    rows = [f"{n} 5" for n in range(1, MOST_ROWS + 2)]
    assert read("\n".join(rows[:-1])).frequency.size == MOST_ROWS
    with pytest.raises(BadInputError, match=f"line {MOST_ROWS + 1}: found one more row"):
        read("\n".join(rows))


SEPARATORS = {" ": ".", "\t": ".", ";": ".", ",": ".", "; ": ",", "\t ": ",", ", ": ",", "  ": ","}


@given(
    steps=st.lists(st.floats(1.0, 500.0), min_size=2, max_size=30),
    values=st.data(),
    between=st.sampled_from(sorted(SEPARATORS)),
    head=st.sampled_from(["", "Hz ohm deg\n", "! x\n* y\n", "f (Hz)\tZ (ohm)\tphase\n"]),
    columns=st.sampled_from([2, 3]),
)
def test_what_was_written_is_read_again(
    steps: list[float], values: st.DataObject, between: str, head: str, columns: int
) -> None:
    # invariant: any curve in any of these forms, to the digits written
    frequency = np.cumsum(steps)
    size = len(steps)
    number = st.floats(1.0, 39.0)
    magnitude = values.draw(st.lists(number, min_size=size, max_size=size))
    phase = values.draw(st.lists(st.floats(-180.0, 180.0), min_size=size, max_size=size))
    mark = SEPARATORS[between]
    rows = []
    for row in zip(frequency, magnitude, phase, strict=True):
        fields = [f"{x:.6f}".replace(".", mark) for x in row[:columns]]
        rows.append(between.join(fields))
    curve = read(head + "\n".join(rows))
    np.testing.assert_allclose(curve.frequency, frequency, atol=1e-6)
    np.testing.assert_allclose(curve.magnitude, magnitude, atol=1e-6)
    assert curve.kind == "impedance"
    if columns == 3:
        assert curve.phase is not None
        np.testing.assert_allclose(np.rad2deg(curve.phase), phase, atol=1e-6)
    else:
        assert curve.phase is None


@given(
    data=st.binary(max_size=300)
    | st.text("0123456789 .,;-+e\t\n#dBHzk[]", max_size=300).map(lambda text: text.encode()),
    name=st.sampled_from(["a.txt", "a.s1p"]),
)
def test_any_bytes_are_read_or_refused_in_words(data: bytes, name: str) -> None:
    # invariant: a sound curve or a BadInputError that begins with the file's name
    try:
        curve = read_curve(data, name=name)
    except BadInputError as error:
        refused = str(error)
    else:
        refused = ""
    if refused:
        assert re.match(r"a\.(txt|s1p)[:,] ", refused)
        return
    assert np.all(np.diff(curve.frequency) > 0.0)
    assert np.all(curve.frequency > 0.0)
    assert np.all(np.isfinite(curve.magnitude))
    assert curve.frequency.shape == curve.magnitude.shape


# --- Touchstone -------------------------------------------------------------------------------


def parallel(frequency: float) -> complex:
    """3 ohm and 1 mH in series, 100 ohm across."""
    z = 3 + 2j * np.pi * frequency * 1e-3
    return complex(z * 100 / (z + 100))


@pytest.mark.parametrize("form", ["MA", "DB", "RI"])
@pytest.mark.parametrize("parameter", ["S", "Z"])
@pytest.mark.parametrize(("unit", "scale"), [("Hz", 1.0), ("kHz", 1e3), ("MHZ", 1e6), ("GHz", 1e9)])
def test_one_port_in_every_form(form: str, parameter: str, unit: str, scale: float) -> None:
    # closed form: S = (Z - R)/(Z + R); version 1 divides Z by R
    frequency, reference = np.array([20.0, 500.0, 20e3]), 75.0
    z = np.array([parallel(f) for f in frequency])
    value = (z - reference) / (z + reference) if parameter == "S" else z / reference
    first, last = {
        "MA": (np.abs(value), np.angle(value, deg=True)),
        "DB": (20 * np.log10(np.abs(value)), np.angle(value, deg=True)),
        "RI": (value.real, value.imag),
    }[form]
    rows = [
        f"{f / scale!r} {a!r} {b!r} ! note"
        for f, a, b in zip(frequency.tolist(), first.tolist(), last.tolist(), strict=True)
    ]
    text = f"! one port\n# {unit} {parameter} {form} R {reference}\n" + "\n".join(rows) + "\n"
    curve = read(text, "driver.s1p")
    np.testing.assert_allclose(curve.frequency, frequency)
    assert curve.phase is not None
    np.testing.assert_allclose(curve.magnitude * np.exp(1j * curve.phase), z, rtol=1e-9)
    assert curve.kind == "impedance"
    assert parameter in curve.reason


def test_without_an_option_line_it_is_gigahertz_s_ma_and_50_ohm() -> None:
    # the format's own defaults; closed form: S = 0.5 at 0 degrees is three times R
    curve = read("2.0 0.5 0\n3.0 0.5 180\n", "a.S1P")
    np.testing.assert_allclose(curve.frequency, [2e9, 3e9])
    np.testing.assert_allclose(curve.magnitude, [150.0, 50.0 / 3.0])


@pytest.mark.parametrize(
    ("form", "rows"),
    [
        ("RI", "20.0 -0.8734171671801666 0.041752944613020176\n74.0 -0.4634240332873031 "
         "0.008432862767290474\n20000.0 -0.438534736618904 0.45045966878046484"),
        ("MA", "20.0 0.8744145791950664 177.26310886076266\n74.0 0.4635007527531356 "
         "178.95751171294182\n20000.0 0.628670524535084 134.2314830057484"),
        ("DB", "20.0 -1.1656521993193274 177.26310886076266\n74.0 -6.678991123970369 "
         "178.95751171294182\n20000.0 -4.031538024803172 134.2314830057484"),
    ],
)  # fmt: skip
def test_what_another_writer_wrote(form: str, rows: str) -> None:
    # independent tool: scikit-rf 2.2.0, write_touchstone of a woofer's impedance
    written = f"! made elsewhere\n# Hz S {form} R 50.0 \n!freq a b\n!\n{rows}\n"
    curve = read(written, "woofer.s1p")
    assert curve.phase is not None
    np.testing.assert_allclose(
        curve.magnitude * np.exp(1j * curve.phase),
        [
            3.351893611999885 + 1.1890563927811748j,
            18.330625497596696 + 0.3937497092554765j,
            13.307538818109213 + 19.823986339279298j,
        ],
        rtol=1e-12,
    )


def test_version_two_does_not_divide_by_its_reference() -> None:
    # independent tool: scikit-rf 2.2.0 reads Z of version 1 times R, and of version 2 as it stands
    text = (
        "[Version] 2.0\n# Hz Z RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 2\n"
        "[Reference] 8\n[Network Data]\n20 3 4\n30 6 8\n[End]\n"
    )
    np.testing.assert_allclose(read(text, "a.s1p").magnitude, [5.0, 10.0])
    np.testing.assert_allclose(
        read(text.replace("Z RI", "S RI").replace("3 4", "0 0"), "a.s1p").magnitude[0], 8.0
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("# Hz S MA R 50\n", "found no row of numbers"),
        ("# Hz Y MA R 50\n1 1 1", 'line 1: found "Y"; Hz to GHz, S or Z'),
        ("# Hz S MA R\n1 1 1", "line 1: found .* R stands before an ohm value"),
        ("# Hz S MA R -5\n1 1 1", 'line 1: found "-5"'),
        ("# Hz S RI R 50\n1 .1 .1 .1 .1", "line 2: found 5 numbers; one port"),
        ("# Hz S RI R 50\n1 .1 .1\n1 .2 .1", "line 3: found 1; frequencies rise"),
        ("# Hz S RI R 50\n1 1 0", "line 2: found S = 1, an open end"),
        ("# Hz S RI R 50\n1 -1 0", "line 2: found 0 ohm"),
        ("# Hz S DB R 50\n1 9999 0", "line 2: found 9999 dB"),
        ("# GHz Z RI R 1\n1 1.7e308 1.7e308", "line 2: found inf ohm"),
        ("# GHz Z RI R 1\n1e9 1 1", r"line 2: found 1e\+18 Hz; a frequency is at most 1e\+12 Hz"),
        ("# Hz S RI R 50\n1 a 0", 'line 2: found "a"'),
        ("[Number of Ports] 2\n1 1 1", 'line 1: found "2" ports; one port is read'),
        ("[Mixed-Mode Order] D\n1 1 1", "line 1: found .* of version 2"),
        ("[Reference] none\n1 1 1", 'line 1: found "none"; one reference'),
    ],
)
def test_what_is_no_one_port_is_refused_by_its_line(text: str, words: str) -> None:
    with pytest.raises(BadInputError, match=f"^a.s1p[:,] .*{words}"):
        read(text, "a.s1p")
