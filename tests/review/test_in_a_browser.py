"""The pages in a real browser, from files and without a network: they work, fit and can be read."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from assistant.review import open_review
from assistant.review.acts import add
from assistant.review.evidence.photos import add as put_beside
from assistant.review.handover.audit import audited
from assistant.review.pages.fleet_page import fleet_file, write_fleet, write_rest
from assistant.review.pages.render import page as render
from assistant.review.pages.render import write_page
from assistant.review.pages.truck_page import truck_file
from tests.records import DEMOS, HARD
from tests.review.conftest import WAIT_MS
from tests.review.jobs import Job, day, tell
from tests.review.test_fleet_page import JOBS
from tests.review.test_pages import NASTY
from tests.review.test_photos import jpeg

pytestmark = pytest.mark.browser
WIDTHS = (360, 768, 1280, 2560)
LONG = "T-" + "0123456789" * 6
ARABIC = "شاحنة ٧"
MOST_SHEETS = 4


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages of a small fleet with what is hard to show in it."""
    top = tmp_path_factory.mktemp("browser")
    odd = [Job(unit, day(2025, 6, 1 + i)) for i, unit in enumerate((LONG, ARABIC, ""))]
    paths = tell(top / "records", [*JOBS, *odd])
    raw = paths[1].read_bytes()
    paths[1].write_bytes(raw.replace(b"helper", b"halper", 1))
    for demo in DEMOS:
        (top / "records" / demo.name).write_bytes(demo.read_bytes())
    hard = top / "records" / HARD.name
    add(hard, "question", "L7", NASTY[:40])
    put_beside(hard, jpeg(top / "photo.jpg"), "L7", NASTY)
    put_beside(hard, jpeg(top / "photo.jpg", seed=9), "21", LONG)
    next((top / "records" / f"{hard.stem}.photos").iterdir()).unlink()
    return made(top)


def made(top: Path) -> Path:
    with open_review([top / "records"], top / "index") as desk:
        done, failed = write_rest(
            desk, top / "out", *write_fleet(desk, top / "out"), lambda todo: todo
        )
        found = audited(desk, date(2020, 1, 1), date(2030, 1, 1), {"3F2A-91BC"})
        write_page(top / "out" / "audit.html", render("audit.html", a=found, made=""))
    assert done and not failed
    return top / "out"


def every_kind(out: Path) -> list[Path]:
    """The fleet's pages; jobs of the hardest day with photos, the longest unit, and a broken
    chain; trucks."""
    jobs = ("hard-day", "20250601", "20250510")
    files = [next(iter(sorted((out / "jobs").glob(f"{name}*.html")))) for name in jobs]
    return [
        fleet_file(out),
        out / "safety.html",
        out / "audit.html",
        *files,
        *(out / truck_file(unit) for unit in ("T-1", LONG)),
    ]


@pytest.fixture
def page(browser: Any, out: Path) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 1280, "height": 900})
    opened.set_default_timeout(WAIT_MS)
    wrong: list[str] = []
    opened.on("pageerror", lambda error: wrong.append(str(error)))
    opened.goto(fleet_file(out).as_uri())
    yield opened
    opened.close()
    assert wrong == []


def shown(page: Any) -> list[str]:
    """The trucks of the jobs that the list shows."""
    cells = page.locator("#list tbody tr:not(.hidden) th")
    return [cell.strip() for cell in cells.all_inner_texts()]


def test_sort_filter_and_search(page: Any) -> None:
    every = shown(page)
    assert len(every) == len(JOBS) + 3 + len(DEMOS)
    head = page.get_by_role("button", name="Truck")
    head.click()
    assert shown(page)[-1] != shown(page)[0] == min(shown(page), key=str.casefold)
    head.click()
    assert page.locator("#list th[aria-sort=descending]").count() == 1
    again = page.get_by_role("button", name="Said again")
    again.click()
    again.click()
    counts = page.locator("#list tbody tr:not(.hidden) td:nth-child(9)").all_inner_texts()
    assert [*map(int, counts)] == sorted(map(int, counts), reverse=True) and int(counts[0]) > 7
    page.fill("#from", "2025-05-01")
    page.fill("#to", "2025-08-01")
    assert {"T-1", "T-2"} <= set(shown(page)) and len(shown(page)) == 5
    page.fill("#from", "")
    page.fill("#to", "")
    page.select_option("#code", "code:21")
    assert sorted(shown(page)) == sorted([NASTY, "T-2"])
    page.select_option("#code", "")
    page.evaluate("location.hash = '#jobs=step:found_gap&signed:yes'")
    page.wait_for_function("document.getElementById('chosen').textContent.length > 0")
    assert page.inner_text("#chosen") == "only: step found_gap, signed yes"
    assert set(shown(page)) == {"T-1", "T-2", "T-104", "M-31"} & set(every) or shown(page)
    page.click("#all")
    page.wait_for_function("document.getElementById('chosen').textContent === ''")
    assert len(shown(page)) == len(every)
    page.evaluate("location.hash = '#jobs=%E0%A4'")
    page.wait_for_function("document.getElementById('chosen').textContent.length > 0")
    assert page.inner_text("#chosen") == "only: %E0%A4"
    assert page.locator("#none").is_visible() and not page.locator("#list").is_visible()
    page.click("#none .clear")
    page.wait_for_function("document.getElementById('chosen').textContent === ''")


def test_search_finds_any_words_in_any_order(page: Any) -> None:
    """Of trucks, jobs, and what was said; a line leads to its place on the job's page."""
    page.fill("#search", "t-2")
    page.wait_for_selector("#found li")
    assert "Trucks: 1" in page.inner_text("#found") and shown(page) == ["T-2", "T-2"]
    page.fill("#search", "bolt t-104 PLATE")
    page.wait_for_selector("#found a[href*='#line-']")
    assert "note the lock plate bolt wants replacing next time" in page.inner_text("#found")
    page.fill("#search", "no such words")
    assert "Nothing has all of these words" in page.inner_text("#found")
    page.press("#search", "Escape")
    assert page.inner_text("#found") == ""
    page.fill("#search", "plate bolt")
    page.locator("#found a").first.click()
    page.wait_for_selector("tr:target")
    assert "bolt" in page.inner_text("tr:target")


_BROKEN = """([within, words]) => [...document.querySelectorAll(within)].flatMap((cell) => {
  const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), broken = [];
  for (let text = walk.nextNode(); text; text = walk.nextNode()) {
    for (const found of text.data.matchAll(new RegExp(words, 'g'))) {
      const range = document.createRange();
      range.setStart(text, found.index);
      range.setEnd(text, found.index + found[0].length);
      if (new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size > 1) {
        broken.push(found[0]);
      }
    }
  }
  return broken;
})"""


def test_no_word_of_a_state_and_no_time_is_broken(page: Any, out: Path) -> None:
    for file in (fleet_file(out), out / truck_file("T-104"), out / "audit.html"):
        page.goto(file.as_uri())
        assert page.evaluate(_BROKEN, ["td.state", "\\S+"]) == [], file
    page.goto(fleet_file(out).as_uri())
    assert page.evaluate(_BROKEN, ["#list td[data-label=time]", ".+"]) == []


def test_at_the_first_visit_everything_is_new(page: Any) -> None:
    every = page.locator("#look li.case:visible").count()
    page.click("[data-show=fresh]")
    assert page.locator("#look li.case:visible").count() == every > 5
    assert "have not looked" in page.inner_text("[data-show=fresh]")


def test_no_page_is_wider_than_its_screen(page: Any, out: Path) -> None:
    for file in every_kind(out):
        page.goto(file.as_uri())
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (file, width)


@pytest.mark.parametrize("width, scheme", [(1280, "light"), (360, "dark")])
def test_nothing_serious_is_wrong_for_who_cannot_see(
    page: Any, out: Path, width: int, scheme: str
) -> None:
    """axe's rules on every kind of page."""
    from axe_playwright_python.sync_playwright import Axe

    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    for file in every_kind(out):
        page.goto(file.as_uri())
        grave = [
            (file.name, one["id"], one["nodes"][0]["html"][:120])
            for one in Axe().run(page).response["violations"]
            if one["impact"] in ("serious", "critical")
        ]
        assert grave == []


def test_a_fleet_is_printed_on_few_sheets(page: Any, out: Path) -> None:
    """Every job is printed only where that is asked for."""
    page.emulate_media(media="print")
    sheets = page.pdf(format="A4").count(b"/Type /Page\n")
    assert 1 <= sheets <= MOST_SHEETS
    page.emulate_media(media="screen")
    page.check("#print-all")
    page.emulate_media(media="print")
    assert page.locator("#list").is_visible()


def test_the_keyboard_comes_to_the_search_at_once(page: Any) -> None:
    """The first stop leads past the head of the page, and the search is a few stops away."""
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(6):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "search":
            break
    assert page.evaluate("document.activeElement.id") == "search"


def test_an_act_on_many_jobs_is_one_command(page: Any) -> None:
    """Chosen by their cause; paths and words are quoted for a shell."""
    page.locator("details[data-kind=skipped] .choose").click()
    page.fill("#by", "L7")
    page.fill("#words", "it's fine")
    command = page.input_value("#command")
    assert command.startswith("lugcall lead reviewed --by L7 ")
    assert command.endswith(" -- 'it'\\''s fine'") and command.count(".jsonl") >= 3
    page.click("#drop")
    assert not page.locator("#acts").is_visible()
