"""Every word the reader knows, as one letter of its kind and a value.

The reader works on the string of kinds ("nine sixteenths" is `dG`), so that its grammar is a few
regular expressions over letters and one analysed shape serves every value said in it.

Numbers    d 1-9  6 six  0 zero  o "oh"  t 10-19  y 20..90  T thirty  X sixty  C hundred  K thousand
           n typed whole number  x typed decimal  q typed fraction  P "point"
           7 a word that sounds like a number  s the same, but common ("for")  2 "to"
Fractions  h half  H halves  c quarter  Q quarters  4 fourth(s)  F eighth, sixteenth  G the plurals
           W their sound-alikes  e second(s)  E "teens"  z typed -ths, -nds  b not on any rule
Units      i inch  I "in"  k thousandths  M mm  m mil  Z cm  j foot  r hundredths  w tenths
           L lugs  N turns  V flats  l miles  p kilometres  Y metre  D milli
Relations  - typed minus  _ a dash  g minus, less  + plus  ~ plus or minus  B between  U or
           v over  u under
           > more than  < less than  S shy  R fat  J just, a hair  @ about  = exactly
           O of  A and  a a, an  ^ this, that  { give  } take  % goes  ! not  | no  ; self-repair
           ƒ floor  ↑ up  δ a change of place  ν needs, wants  α is, does  τ than
           * none  € good ("a good half")  £ so ("or so")  ¥ make ("make that")  ¢ a couple  » past
Rest       f filler  # a noun that  the number something else  ? unknown
"""

from __future__ import annotations

UNITS = "one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()

LEXICON: dict[str, tuple[str, float]] = {}


def _add(kind: str, words: str, value: float = 0) -> None:
    for word in words.split():
        LEXICON[word] = (kind, value)


# Filler first: a word with a better meaning overwrites it below.
_add(
    "f",
    """
    the it it's its i i'm i've i'd got get getting gets have has having we we've we're you
    you've reading reads read measuring measures measured measure measurement showing shows
    show see seeing looks look looking like say says saying call calling called calls gap
    clearance fork travel play pedal height total brake contact bearing release there
    there's here here's where on at by with from set sits sitting comes came coming out was
    be been being uh um er ah erm hmm okay ok yeah yes yep yup aye well now that's that'll
    boss mate chief buddy man sir please think thinking reckon guess gauge gage rule ruler
    caliper calipers calliper callipers calliper's dial feeler feelers tape scale stick
    found final lever pads pad value figure only still then again copy actual lash stroke
    housing hole cover face tighter looser tight loose tighten tightened loosened clockwise
    counterclockwise turned went gone done backed screwed longer shorter rod nut nuts ring
    adjusting odometer odo clock mileage full pushing holding bottom top end ends my
    your our back mark marks line's roger thing's as he she she's he's they they're give's
    me him her whole even near ready right bang spot money nose button nominal anywhere
    somewhere someplace side one's heard said because cause since let's lets let counted
    count counting total's took takes put puts running runs run today hub yoke shaft trans
    transmission wear plate lock bay's depth width distance space spacing opening room hey
    hi guys' thanks great fine perfect nice alright mister ma'am miss son kid folks fella
    pal bud partner bearing's gap's pedal's helper tech tells told number numbers truck's
    dash hubodometer instrument cluster now's after during while when cold hot kinda sorta
    basically pretty very real really quite about's coming's currently presently feels feel
    felt eyeball eyeballing eyeballed figure's works working worked everything every each
    both snug drag dragging fits fit slides slips passes pass through slip there'll be's new
    isnt okey dokey wow whoa well's rechecked recheck rechecking checked checking was't
    stroke's what
    """,
)
for _n, _w in enumerate(UNITS, 1):
    LEXICON[_w] = ("6" if _n == 6 else "d", _n)
for _n, _w in enumerate(TEENS, 10):
    LEXICON[_w] = ("t", _n)
for _n, _w in enumerate(TENS, 2):
    LEXICON[_w] = ({30: "T", 60: "X"}.get(_n * 10, "y"), _n * 10)
_add("d", "fife", 5)
_add("d", "niner nein", 9)
_add("y", "fourty", 40)
_add("y", "fourtie", 40)
_add("y", "fivety", 50)
_add("y", "eightie", 80)
_add("y", "ninty", 90)
_add("t", "forteen", 14)
_add("t", "fiveteen", 15)
_add("t", "twelf", 12)
_add("0", "zero nought naught nil null", 0)
_add("o", "oh o", 0)
_add("*", "none nothing nada zip zilch", 0)
_add("C", "hundred hundert", 100)
_add("K", "thousand k", 1000)
_add("K", "grand", 1000)
_add("K", "million", 1_000_000)
_add("P", "point dot decimal")

# Words a recognizer writes for a number that sounds the same.
_add("7", "won wan", 1)
_add("7", "tew tu", 2)
_add("7", "tree threw", 3)
_add("7", "fore fo", 4)
_add("7", "hive", 5)
_add("7", "sex sicks sics", 6)
_add("7", "ate hate aight", 8)
_add("7", "tin tan", 10)
_add("s", "too", 2)
_add("s", "free thee", 3)
_add("s", "for", 4)
_add("2", "to", 2)

_add("h", "half halve haf haff", 2)
_add("H", "halves halfs", 2)
_add("c", "quarter quater qtr courter", 4)
_add("Q", "quarters quarter's quaters courters corders", 4)
_add("4", "fourth forth fourths forths fourth's fours force forces", 4)
_add("F", "eighth eigth eighths' ateth", 8)
_add("F", "sixteenth sixteeth sixtenth", 16)
_add("G", "eighths eigths eighth's", 8)
_add("G", "sixteenths sixteenth's sixteeths sixtenths", 16)
_add("W", "eights eight's ates ate's aids eighty's hates", 8)
_add("W", "sixteens sixteen's", 16)
_add("e", "second seconds second's secunds secs twos")
_add("E", "teens teenth teenths teen's teeths")
_add("z", "s th ths nd nds st rd rds")
_add("b", "third thirds", 3)
_add("b", "fifth fifths", 5)
_add("b", "sixth sixths", 6)
_add("b", "seventh sevenths", 7)
_add("b", "ninth ninths", 9)
_add("b", "eleventh elevenths", 11)
_add("b", "twelfth twelfths", 12)
_add("b", "thirteenth thirteenths", 13)
_add("b", "fourteenth fourteenths", 14)
_add("b", "fifteenth fifteenths", 15)
_add("b", "seventeenth seventeenths", 17)
_add("b", "twentieth twentieths", 20)
_add("b", "twentyfourths", 24)

_add("i", "inch inches inch's inchs ins itch itches \" ''")
_add("I", "in")
_add(
    "k",
    """thou thous thousandth thousandths thousandth's thousands though thow tho thousanths
    thousanth thousandeths thouth thou's""",
)
_add("M", "mm millimeter millimeters millimetre millimetres millimeter's millimetre's")
_add("D", "milli milly millie")
_add("Y", "meter meters metre metres m")
_add("m", "mil mils mill mills mil's")
_add("Z", "cm centimeter centimeters centimetre centimetres")
_add("j", "foot feet ft '")
_add("r", "hundredth hundredths hundreths hundreth")
_add("w", "tenth tenths")
_add("L", "lungs lucks lug lugs lug's notch notches logs log")
_add("N", "turn turns rev revs revolution revolutions rotation rotations")
_add("V", "flat flats flat's")
_add("l", "mile miles mi mile's")
_add("p", "kilometer kilometers kilometre kilometres km kms klick klicks kays k's ks")

_add("-", "- negative neg")
_add("_", "_")
_add("g", "minus less")
_add("€", "good")
_add("£", "so")
_add("¥", "make")
_add("¢", "couple few several some")
_add("+", "+ plus")
_add("~", "+/- +- ±")
_add("B", "between betwixt")
_add("f", "gave giving all")
_add("ƒ", "floor carpet mat floorboard")
_add("U", "or")
_add("v", "over above beyond")
_add("»", "past")
_add("u", "under below beneath")
_add(">", "more greater bigger better least wider larger exceeds")
_add("<", "smaller most fewer narrower")
_add("S", "shy scant short light skinny thin nearly almost lean bare  weak")
_add("R", "fat heavy strong plump proud generous")
_add(
    "J",
    """just hair bit touch tad slightly little skosh smidge smidgen smidgeon whisker shade
    hairs fraction tiny gnat's fuzz barely slight wee quite""",
)
_add("@", "about approximately approx roughly around circa ish probably maybe perhaps ")
_add("=", "exactly dead  precisely  exact square")
_add("O", "of")
_add("A", "and & an' but")
_add("a", "a an")
_add("^", "this that first")
_add("τ", "than")
_add("{", "give")
_add("↑", "up")
_add("δ", "down off moved move lowered raised dropped added add removed remove backed lost shift")
_add("ν", "need needs want wants fetch left")
_add("α", "is are does do did should would could can will")
_add("}", "take")
_add("%", "go goes takes enters passes fits slips slides drops pass fit slip slide drop")
_add(
    "!",
    "not never isn't won't doesn't don't didn't wouldn't can't cannot ain't wont doesnt isnt",
)
_add("|", "no nope nah")
_add(";", "correction sorry scratch oops whoops mean meant rather actually strike instead wait")

# A number before one of these is no reading: time, people, tools, money.
_add(
    "#",
    """wrench wrenches socket sockets spanner spanners bolt bolts drill driver ratchet screw screws
    stud studs hose pipe minute minutes min mins hour hours day days week weeks month months year
    years o'clock clock's percent % dollar dollars buck bucks cents $ degree degrees psi pound
    pounds gallon gallons quart quarts liter liters litre litres people guys men boys us them
    times time truck trucks tire tires tyre tyres gear gears speed hand hands finger fingers
    unit bay step page door route highway  # mornings morning afternoon lunch
    coffee cups cup breaks break job jobs shift shifts other shop ton tons tonne tonnes rpm volts
    volt amps grease pump pumps shots shot pumps' rags rag piece pieces box boxes  moment
    sec tick minute's bar allen torx hex key keys extension impact adapter pin pins washer washers
    clevis spring springs brand next  later ago till until wheel wheels axle axles
    pack packs bags bag ways way thing things reason reasons chance  tries try
    head heads eye eyes  hammer pry crowbar magnet  bulb trouble problem
    problems inspection inspector mother hell love pete sake life heart mind idea kidding asleep
    breakfast dinner beer beers radio channel phone  kids wife team crew
    what what's whats how which when why who who's where's before earlier yesterday
    sandwich book manual spec specs supposed should""",
)
