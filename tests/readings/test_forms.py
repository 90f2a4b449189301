"""The forms of a reading that a change must not break, one line each.

Each table is read top to bottom: what is asked, the words, and what must come of them.
"""

from __future__ import annotations

import pytest

from assistant.quantity import QUANTITIES
from assistant.readings import read
from assistant.readings.settle import half_width_in

MM = 1 / 25.4

TYPED = [
    ("gap", "9/16", 9 / 16),
    ("gap", "9 / 16", 9 / 16),
    ("gap", "9/16ths", 9 / 16),
    ("gap", "9⁄16", 9 / 16),
    ("gap", "½", 1 / 2),
    ("gap", '½"', 1 / 2),
    ("free-travel", "1½", 1.5),
    ("free-travel", "1-5/8", 1.625),
    ("free-travel", '1 5/8"', 1.625),
    ("free-travel", "1 5/8 in.", 1.625),
    ("free-travel", "1 -1/2", 1.5),
    ("gap", ".485", 0.485),
    ("gap", "0.485", 0.485),
    ("gap", "0,485", 0.485),
    ("gap", '.485"', 0.485),
    ("gap", "485 thou", 0.485),
    ("gap", "485thou", 0.485),
    ("gap", "485.5 thou", 0.4855),
    ("gap", "485", 0.485),
    ("gap", "12.7mm", 0.5),
    ("gap", "12.7 MM", 0.5),
    ("gap", "12,7 mm", 0.5),
    ("gap", "12.7", 0.5),
    ("gap", "1.27 cm", 0.5),
    ("free-travel", "38", 38 * MM),
    ("free-travel", "1.5", 1.5),
    ("pedal-height", "180", 180 * MM),
    ("pedal-height", "7.25", 7.25),
    ("pedal-height", "0.2 m", 200 * MM),
    ("pedal-height", "1 foot", 12.0),
    ("gap", "1/2-1/32", 15 / 32),
    ("gap", "1/2 - 1/32", 15 / 32),
    ("gap", "1/2+1/32+1/64", 35 / 64),
    ("gap", "0", 0.0),
    ("", "15/32", 15 / 32),
    ("", "0.485 in", 0.485),
    ("", "14 mm", 14 * MM),
]

SPOKEN = [
    ("gap", "four eight five", 0.485),
    ("gap", "point four eight five", 0.485),
    ("gap", "point five oh oh", 0.5),
    ("gap", "five oh oh", 0.5),
    ("gap", "oh eight five", 0.085),
    ("gap", "four eighty-five", 0.485),
    ("gap", "point four eighty-five", 0.485),
    ("gap", "four hundred and eighty-five thousandths", 0.485),
    ("gap", "four hundred eighty five thousandths of an inch", 0.485),
    ("clearance", "twenty-seven thou", 0.027),
    ("clearance", "a hundred and twenty thou", 0.12),
    ("clearance", "one twenty five", 0.125),
    ("gap", "a thousandth of an inch", 0.001),
    ("gap", "forty eight hundredths", 0.48),
    ("gap", "nine sixteenths", 9 / 16),
    ("gap", "nine sixteenths of an inch", 9 / 16),
    ("gap", "seventeen thirty-seconds", 17 / 32),
    ("gap", "thirty-one sixty-fourths", 31 / 64),
    ("gap", "half", 0.5),
    ("gap", "a half inch", 0.5),
    ("gap", "one half of an inch", 0.5),
    ("clearance", "an eighth", 0.125),
    ("clearance", "a thirty-second", 1 / 32),
    ("brake-contact", "three quarters", 0.75),
    ("free-travel", "an inch and three quarters", 1.75),
    ("free-travel", "inch and a half", 1.5),
    ("free-travel", "two and a quarter", 2.25),
    ("free-travel", "one and five eighths", 1.625),
    ("free-travel", "one inch five eighths", 1.625),
    ("free-travel", "two", 2.0),
    ("pedal-height", "seven and a half inches", 7.5),
    ("gap", "thirteen millimetres", 13 * MM),
    ("gap", "twelve point seven", 0.5),
    ("gap", "twelve and a half millimetres", 12.5 * MM),
    ("gap", "half minus a thirty-second", 15 / 32),
    ("gap", "half plus ten thou", 0.51),
    ("gap", "a thirty-second under a half", 15 / 32),
    ("gap", "a sixteenth short of a half", 7 / 16),
    ("gap", "five thou over half an inch", 0.505),
    ("gap", "zero", 0.0),
    ("gap", "uh, gap is reading nine sixteenths, boss", 9 / 16),
    ("gap", "NINE SIXTEENTHS!", 9 / 16),
]

SLIPS = [
    ("gap", "for eighths", 0.5),
    ("gap", "won half", 0.5),
    ("gap", "nine sixteenth", 9 / 16),
    ("gap", "nine six teens", 9 / 16),
    ("gap", "nine over sixteen", 9 / 16),
    ("gap", "five ates", 5 / 8),
    ("gap", "fife eighths", 5 / 8),
    ("gap", "half an itch", 0.5),
    ("gap", "fore eighty five", 0.485),
    ("brake-contact", "tree quarters", 0.75),
    ("free-travel", "to and a quarter", 2.25),
    ("free-travel", "too and a half", 2.5),
    ("free-travel", "an inch in a half", 1.5),
    ("gap", "seventeen thirty second", 17 / 32),
    ("gap", "15 30 seconds", 15 / 32),
    ("clearance", "twenty seven though", 0.027),
    ("clearance", "an eight of an inch", 0.125),
]

REPAIRS = [
    ("gap", "nine sixteenths, no, five eighths", 5 / 8),
    ("gap", "half, sorry, nine sixteenths", 9 / 16),
    ("gap", "scratch that, half inch", 0.5),
    ("gap", "thirteen mil, I mean thirteen millimetres", 13 * MM),
    ("gap", "four eighty five, make that four ninety five", 0.495),
]


@pytest.mark.parametrize(("quantity", "words", "value"), TYPED + SPOKEN + SLIPS + REPAIRS)
def test_is_read(quantity: str, words: str, value: float) -> None:
    """One value, inside its interval."""
    got = read(words, quantity)
    assert got.status == "read", got.why
    assert got.value_in == pytest.approx(value, abs=1e-12)
    assert got.low_in is not None and got.high_in is not None
    assert got.low_in <= value <= got.high_in


INTERVALS = [
    ("gap", "half inch shy", 15 / 32, 1 / 2),
    ("gap", "nine sixteenths shy", 17 / 32, 9 / 16),
    ("gap", "a fat half", 1 / 2, 17 / 32),
    ("gap", "a good half inch", 1 / 2, 17 / 32),
    ("gap", "half inch bare", 15 / 32, 1 / 2),
    ("gap", "just under nine sixteenths", 17 / 32, 9 / 16),
    ("gap", "just shy of nine sixteenths", 17 / 32, 9 / 16),
    ("gap", "not quite a half", 15 / 32, 1 / 2),
    ("gap", "just over a half", 1 / 2, 17 / 32),
    ("gap", "a hair over 485 thou", 0.485, 0.49),
    ("gap", "about a half", 15 / 32, 17 / 32),
    ("gap", "half, or so", 15 / 32, 17 / 32),
    ("free-travel", "two-ish", 31 / 16, 33 / 16),
    ("gap", "between a half and nine sixteenths", 1 / 2, 9 / 16),
    ("gap", "between nine sixteenths and a half", 1 / 2, 9 / 16),
    ("gap", "between seven and eight sixteenths", 7 / 16, 1 / 2),
    ("gap", "1/2 to 9/16", 1 / 2, 9 / 16),
    ("gap", "1/2-9/16", 1 / 2, 9 / 16),
    ("gap", "12-13 mm", 12 * MM, 13 * MM),
    ("gap", "goes on the half, no go on nine sixteenths", 1 / 2, 9 / 16),
    ("gap", "no-go on nine sixteenths, go on the half", 1 / 2, 9 / 16),
    ("gap", "takes the half, won't take nine sixteenths", 1 / 2, 9 / 16),
    ("gap", "GO 1/2 NO-GO 9/16", 1 / 2, 9 / 16),
    ("gap", ".5 +/- .005", 0.495, 0.505),
    ("gap", "1/2 ± 1/64", 31 / 64, 33 / 64),
    ("gap", "half plus or minus ten thou", 0.49, 0.51),
    ("gap", "half give or take a sixty-fourth", 31 / 64, 33 / 64),
    # How finely it was said: a rule for a fraction, half the last place for a decimal.
    ("gap", "9/16", 35 / 64, 37 / 64),
    ("gap", "35/64", 69 / 128, 71 / 128),
    ("gap", ".5", 31 / 64, 33 / 64),
    ("gap", ".500", 0.4995, 0.5005),
    ("gap", "12.7 mm", 12.65 * MM, 12.75 * MM),
    ("gap", "13 mm", 12.5 * MM, 13.5 * MM),
    ("free-travel", "1-1/2", 1.5 - 1 / 32, 1.5 + 1 / 32),
]


@pytest.mark.parametrize(("quantity", "words", "low", "high"), INTERVALS)
def test_interval(quantity: str, words: str, low: float, high: float) -> None:
    """The interval that the words stand for."""
    got = read(words, quantity)
    assert got.status == "read", got.why
    assert got.low_in == pytest.approx(low, abs=1e-12)
    assert got.high_in == pytest.approx(high, abs=1e-12)


def test_half_width_follows_the_form() -> None:
    """The same figures, straight from the rule."""
    gap = QUANTITIES["gap"]
    assert half_width_in(("f", 16), 9 / 16, gap) == 1 / 64
    assert half_width_in(("f", 64), 35 / 64, gap) == 1 / 128
    assert half_width_in(("d", 3), 0.485, gap) == pytest.approx(0.0005)
    assert half_width_in(("d", 1), 0.5, gap) == 1 / 64
    assert half_width_in(("m", 1), 0.5, gap) == pytest.approx(0.05 / 25.4)
    assert half_width_in(("f", 2), 1.5, QUANTITIES["free-travel"]) == 1 / 32


COUNTS = [
    ("lugs", "three lugs", 3, "lugs"),
    ("lugs", "three", 3, "lugs"),
    ("lugs", "for lugs", 4, "lugs"),
    ("lugs", "just the one", 1, "lugs"),
    ("lugs", "three lugs, no wait, four lugs", 4, "lugs"),
    ("lugs", "2.0", 2, "lugs"),
    ("", "seven lugs", 7, "lugs"),
    ("turns", "turn and a half", 1.5, "turns"),
    ("turns", "half a turn", 0.5, "turns"),
    ("turns", "one and a quarter", 1.25, "turns"),
    ("turns", "two turns and a flat", 2 + 1 / 6, "turns"),
    ("turns", "two turns less a flat", 2 - 1 / 6, "turns"),
    ("turns", "two flats", 1 / 3, "turns"),
    ("turns", "2.5", 2.5, "turns"),
    ("flats", "two flats", 2, "flats"),
    ("flats", "half a turn", 3, "flats"),
    ("flats", "to flats", 2, "flats"),
    ("odometer", "412,350", 412_350, "miles"),
    ("odometer", "412350 km", 412_350, "kilometres"),
    ("odometer", "412k", 412_000, "miles"),
    ("odometer", "four one two three five oh", 412_350, "miles"),
    ("odometer", "four twelve three fifty", 412_350, "miles"),
    ("odometer", "four hundred and twelve thousand three hundred and fifty", 412_350, "miles"),
    ("odometer", "one million twelve thousand kilometres", 1_012_000, "kilometres"),
]


@pytest.mark.parametrize(("quantity", "words", "count", "kind"), COUNTS)
def test_is_counted(quantity: str, words: str, count: float, kind: str) -> None:
    """A count and what was counted; no inches."""
    got = read(words, quantity)
    assert (got.status, got.kind) == ("read", kind), got.why
    assert got.count == pytest.approx(count, abs=1e-12)
    assert got.value_in is None


ASKED = [
    # quantity, words, how many meanings are offered
    ("gap", "fifteen", 5),
    ("gap", "13", 5),
    ("gap", "thirteen mil", 2),
    ("gap", "500 mil", 1),
    ("clearance", "three mils", 2),
    ("gap", "nine sixteen", 2),
    ("gap", "five tenths", 0),
    ("gap", "thirty second", 0),
    ("gap", "sixteenths", 0),
    ("gap", "1 - 1/2", 2),
    ("gap", "a half or nine sixteenths", 2),
    ("gap", "nine or ten sixteenths", 2),
    ("gap", "more than a half", 0),
    ("gap", "under a half", 0),
    ("gap", "less than a half", 0),
    ("gap", "at most a half", 0),
    ("gap", "not a half", 0),
    ("gap", "half or more", 0),
    ("gap", "goes on the half", 0),
    ("gap", "no go on nine sixteenths", 0),
    ("gap", "goes on nine sixteenths, no go on the half", 0),
    ("gap", "half a sixteenth", 2),
    ("gap", "none", 1),
    ("free-travel", "no free travel", 1),
    ("free-travel", "150", 0),
    ("free-travel", "1.5 in, 38 mm", 2),
    ("lugs", "a couple of lugs", 0),
    ("lugs", "two or three lugs", 0),
    ("lugs", "almost three lugs", 0),
    ("odometer", "just over four hundred thousand", 0),
    ("", "485", 0),
    ("", "seven", 0),
]


@pytest.mark.parametrize(("quantity", "words", "choices"), ASKED)
def test_is_asked(quantity: str, words: str, choices: int) -> None:
    """Two meanings, or one side only, make a question and never a guess."""
    got = read(words, quantity)
    assert got.status == "ask", got.readback
    assert got.why
    assert got.value_in is None and got.count is None
    assert len(got.choices) == choices, [c.readback for c in got.choices]


REFUSED = [
    ("gap", "-1/2", "negative"),
    ("gap", "minus a half", "negative"),
    ("gap", "negative ten thou", "negative"),
    ("lugs", "minus two lugs", "negative"),
    ("gap", "forty inches", "over 2 in"),
    ("gap", "40 in", "over 2 in"),
    ("gap", "500 mm", "over 2 in"),
    ("pedal-height", "half an inch", "under 1 in"),
    ("pedal-height", "four feet", "over 24 in"),
    ("gap", "1/0", "zero"),
    ("gap", "three sevenths", "No rule"),
    ("gap", "5/7", "No rule"),
    ("lugs", "two and a half lugs", "whole lugs"),
    ("lugs", "1.5", "whole lugs"),
    ("lugs", "nine sixteenths", "whole lugs"),
    ("lugs", "half inch", "length"),
    ("turns", "25 mm", "length"),
    ("turns", "three lugs", "turns"),
    ("gap", "three lugs", "counts lugs"),
    ("free-travel", "412,350 miles", "counts miles"),
    ("odometer", "six million", "cannot be"),
    ("odometer", "a quarter inch", "length"),
]


@pytest.mark.parametrize(("quantity", "words", "reason"), REFUSED)
def test_is_refused(quantity: str, words: str, reason: str) -> None:
    """Understood, impossible, and the reason said."""
    got = read(words, quantity)
    assert got.status == "refused", (got, got.readback)
    assert reason in got.why
    assert got.value_in is None and got.count is None and got.choices == ()


NONE = [
    ("gap", ""),
    ("gap", "   "),
    ("gap", "about the same as last time"),
    ("gap", "plenty"),
    ("gap", "stop"),
    ("gap", "hold"),
    ("gap", "hold on one second"),
    ("gap", "give me thirty seconds"),
    ("gap", "give me half a minute"),
    ("gap", "two of us down here"),
    ("gap", "nine sixteenths wrench"),
    ("gap", "grab the 13 mm socket"),
    ("gap", "half inch drive ratchet"),
    ("gap", "should be nine sixteenths"),
    ("gap", "the book says half inch"),
    ("gap", "it's a quarter past three"),
    ("gap", "nine o'clock"),
    ("gap", "bay three"),
    ("gap", "truck four eighty five"),
    ("gap", "unit 485"),
    ("gap", "$485"),
    ("gap", "#485"),
    ("gap", "wait one"),
    ("gap", "it's too tight"),
    ("gap", "for the love of pete"),
    ("free-travel", "lots of play"),
    ("free-travel", "half the bolts are rusted"),
    ("lugs", "that one is stuck"),
    ("lugs", "one at a time"),
    ("turns", "it's your turn"),
    ("odometer", "high miles"),
    ("", "flat tire"),
    ("", "we open at seven thirty"),
    ("", "unit four twelve is next"),
]


@pytest.mark.parametrize(("quantity", "words"), NONE)
def test_is_no_reading(quantity: str, words: str) -> None:
    """Talk in the shop is not a measurement."""
    got = read(words, quantity)
    assert got.status == "none", (got, got.readback)
    assert got.value_in is None and got.count is None and got.choices == ()


METRIC_SHOP = [
    ("gap", "thirteen", 13 * MM),
    ("gap", "13", 13 * MM),
    ("gap", "12.7", 0.5),
    ("gap", "it's about fifteen", 15 * MM),
    ("clearance", "three", 3 * MM),
    ("clearance", "3,2", 3.2 * MM),
    ("free-travel", "thirty-eight", 38 * MM),
    ("pedal-height", "one eighty", 180 * MM),
    # What cannot be millimetres keeps its meaning.
    ("gap", "9/16", 9 / 16),
    ("gap", "nine sixteenths", 9 / 16),
    ("gap", ".485", 0.485),
    ("gap", "485 thou", 0.485),
    ("gap", "four eighty-five", 0.485),
]


@pytest.mark.parametrize(("quantity", "words", "value"), METRIC_SHOP)
def test_metric_shop(quantity: str, words: str, value: float) -> None:
    """A metric shop settles a bare number that an inch shop is asked about."""
    got = read(words, quantity, units="mm")
    assert got.status == "read", got.why
    assert got.value_in == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize("words", ["thirteen mil", "nine sixteen", "more than 13", "13 or 14"])
def test_metric_shop_still_asks(words: str) -> None:
    """Mil, a lost ending and one side stay questions everywhere."""
    assert read(words, "gap", units="mm").status == "ask"


def test_distance_settles_a_bare_odometer() -> None:
    """Said in miles it stays miles."""
    assert read("412350", "odometer", distance="kilometres").kind == "kilometres"
    assert read("412350 miles", "odometer", distance="kilometres").kind == "miles"


@pytest.mark.parametrize(
    ("quantity", "words", "readback", "figures"),
    [
        ("gap", "9/16", "nine sixteenths", "9/16 in"),
        ("gap", "four eighty-five", "point four eight five inch", "0.485 in"),
        ("free-travel", "inch and five eighths", "one and five eighths", "1-5/8 in"),
        ("gap", "12.7", "twelve point seven millimetres", "12.7 mm"),
        ("gap", "half inch shy", "just under one half", "just under 1/2 in"),
        ("gap", "1/2 to 9/16", "between one half and nine sixteenths", "1/2 in to 9/16 in"),
        ("lugs", "3", "three lugs", "3 lugs"),
        ("turns", "turn and a half", "one and one half turns", "1.5 turns"),
        ("odometer", "412k", "four hundred twelve thousand miles", "412,000 miles"),
    ],
)
def test_readback(quantity: str, words: str, readback: str, figures: str) -> None:
    """In the form it was said in: a fraction stays a fraction."""
    got = read(words, quantity)
    assert (got.readback, got.figures) == (readback, figures)


def test_an_unknown_quantity_is_an_error() -> None:
    """A misspelt name is a mistake of the caller, and the message lists the names."""
    with pytest.raises(ValueError, match="free-travel"):
        read("half", "free travel")


def test_lugs_turns_and_miles_never_pass_for_a_length() -> None:
    """For every length asked, a count is refused with a reason."""
    for name, quantity in QUANTITIES.items():
        if quantity.unit == "in":
            for words in ("three lugs", "two turns", "one flat", "412,350 miles"):
                got = read(words, name)
                assert got.status == "refused" and got.why, (name, words)
