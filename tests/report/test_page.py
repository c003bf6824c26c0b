"""The sheet in a real browser: on a screen, on a phone, on paper, with its square read back."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from sheets import HOSTILE, TURNED, Browser, make_set, page_of

from meterlink.library.code import decode
from meterlink.library.importing import import_document
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Light, Placement, new_id
from meterlink.report.page import FINDINGS_MAX, rebuild_steps, sheet_html
from meterlink.report.qr import square_of, unpacked
from meterlink.words.language import use

COUNT = "document.title = {what}"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["five", "twelve", "hostile"])
def test_it_prints_on_two_sheets_at_most(
    name: str, paper: str, browser: Browser, request: pytest.FixtureRequest
) -> None:
    """Five lights, twelve, and six with texts as long as they may be: one or two sheets of A4 or Letter."""
    _, sheets = browser.pdf(page_of(request.getfixturevalue(name)), paper)

    assert 1 <= sheets <= 2


@pytest.mark.parametrize(("name", "carries"), [("five", "readings"), ("twelve", "places")])
def test_its_square_is_read_from_the_screen_and_imports(
    name: str, carries: str, browser: Browser, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """An independent reader (zxing) finds the square on a screenshot; its text brings the set-up into an empty library."""
    zxing = pytest.importorskip("zxingcpp")
    from PIL import Image

    session: Session = request.getfixturevalue(name)
    picture = browser.picture(page_of(session), width=1000, height=2600, scale=2.0)
    with Image.open(picture) as image:
        # only squares: in a picture of this size a reader of everything now and then sees a short bar code that nobody drew
        found = zxing.read_barcodes(image, formats=zxing.BarcodeFormat.QRCode)
    assert len(found) == 1
    with Library.open(tmp_path / "other.sqlite") as other:
        added = import_document(other, decode(unpacked(found[0].text)), "the square")
        brought = Session(other, session.setup.name)
        assert [one.name for one in brought.lights()] == [one.name for one in session.lights()]
        assert added.readings == (5 if carries == "readings" else 0)
        for mine, theirs in zip(session.view().lights, brought.view().lights, strict=True):
            assert mine.placement is not None
            assert theirs.placement is not None
            assert theirs.placement.distance_m == pytest.approx(mine.placement.distance_m)
            assert theirs.value == (pytest.approx(mine.value, rel=1e-5) if carries == "readings" else None)


def test_no_text_from_outside_becomes_markup(hostile: Session, browser: Browser) -> None:
    """In the browser's own tree: one heading, no image, no script but the probe, and no script has run."""
    page = page_of(hostile)
    probe = "document.title += '|' + ['script', 'img', 'h1', 'iframe', 'a'].map(t => document.querySelectorAll(t).length).join()"

    assert html.unescape(browser.dom(page, probe)) == HOSTILE[0] + "|1,0,1,0,0"


def test_texts_arrive_as_they_are(hostile: Session) -> None:
    """Escaped, not dropped: every hostile text can be read on the page; only marks that turn the writing are gone."""
    words = re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", "", page_of(hostile), flags=re.DOTALL)
    shown = html.unescape(words)

    for text in HOSTILE:
        assert text in shown
    assert TURNED not in shown
    assert TURNED[1:] in shown


@pytest.mark.parametrize("name", ["five", "hostile"])
def test_nothing_is_asked_of_the_network(name: str, request: pytest.FixtureRequest) -> None:
    """No reference but the name space of SVG, and a policy that forbids the browser to load anything but data."""
    page = page_of(request.getfixturevalue(name))
    tags = " ".join(re.findall(r"<[a-zA-Z][^>]*>", page))

    assert set(re.findall(r"https?:[^\s\"'>]*", tags)) <= {"http://www.w3.org/2000/svg"}
    assert not re.search(r"\s(href|src|action|srcset|on\w+)=", tags)
    assert "url(" not in tags
    assert "default-src 'none'" in page


def test_a_reference_picture_stands_on_the_page(five: Session, browser: Browser, tmp_path: Path) -> None:
    """The small copy is embedded and the browser draws it."""
    from PIL import Image

    from meterlink.report.picture import small_picture

    path = tmp_path / "best.png"
    Image.linear_gradient("L").resize((900, 600)).save(path)
    changed = five.setup._replace(details={**five.setup.details, "reference_picture": small_picture(path)})
    five.library.revise_setup(changed)
    page = page_of(Session(five.library))

    assert browser.dom(page, COUNT.format(what="document.querySelector('img').naturalWidth")) == "420"


@pytest.mark.parametrize("name", ["five", "twelve", "hostile"])
def test_it_fits_a_phone(name: str, browser: Browser, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """At 390 pixels nothing sticks out to the side, and the table has become one block a light."""
    inner = html.escape(re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page_of(request.getfixturevalue(name))))
    framed = f'<title></title><iframe id="f" width="390" height="800" style="border:0" srcdoc="{inner}"></iframe>'
    found = browser.dom(
        framed,
        "let d = document.getElementById('f').contentDocument;"
        "document.title = d.documentElement.scrollWidth + ',' + getComputedStyle(d.querySelector('tbody')).display",
    )
    width, display = found.split(",")

    assert int(width) <= 390
    assert display == "block"


def test_a_name_and_its_value_stand_on_one_line(five: Session, browser: Browser) -> None:
    """A few short facts of the camera: their list is no narrower than the page lets it be, and none breaks in the middle."""
    five.library.revise_setup(five.setup._replace(details={"curtain_travel_s": 0.0032, "shutter_kind": "leaf"}))

    high = browser.dom(
        page_of(Session(five.library)),
        "const lines = e => e.offsetHeight / parseFloat(getComputedStyle(e).lineHeight);"
        "document.title = Math.max(...[...document.querySelectorAll('.know dt, .know dd')].map(lines))",
    )
    assert float(high) < 1.5


def test_what_belongs_together_stays_on_one_line(five: Session) -> None:
    """A number with its unit, side, tenths and uncertainty, a size with its second side: no line of the page ends between them."""
    page = html.unescape(page_of(five))
    kept = page.replace("\N{NO-BREAK SPACE}", "_")

    assert re.search("rectangle 40_×_90_cm", kept)
    assert re.search("1.00_m, 160°_left, 10°_down", kept)
    assert re.search("f/[0-9.]+_[+]0[.][0-9]", kept)
    assert re.search("±_0[.][0-9]_stop", kept)
    assert not re.search("(?<=[0-9]) (?:cm|m|stops?|lx)\\b", re.sub("<svg.*?</svg>", "", page, flags=re.DOTALL))


def test_a_set_without_readings_has_a_sheet(library: Library) -> None:
    """Nothing metered, nothing placed: the page still comes, with dashes and what to do."""
    session = make_set(library, 0, lambda i: "Empty", details={})
    page = page_of(session)

    assert "Build it again" in page
    assert "Empty" in page


def test_a_light_without_a_reading_is_asked_for_once(library: Library) -> None:
    """In plain words, without a verb before the verb: as a row of the table, and as a finding."""
    session = make_set(library, 0, lambda i: "Empty", details={})
    light = Light(new_id(), session.setup.id, "HAIR", "hair", point="hair")
    session.add_light(light, Placement(new_id(), light.id, 1e9))
    page = _words(page_of(session))

    assert "not metered: meter HAIR" in page
    assert "meter it" not in page
    assert page.count("meter HAIR") == 2


def test_only_the_key_is_zero_from_the_key(twelve: Session) -> None:
    """A second light with the role key has its own distance from the first."""
    page = page_of(twelve)
    zeros = re.findall(r'data-k="from key">0<', page)

    assert len(zeros) == 1


def test_many_findings_are_cut_with_a_word(five: Session) -> None:
    """The page shows the worst and says how many more there are."""
    found = five.checks()
    page = sheet_html(five.view(), found[:1] * (FINDINGS_MAX + 3), *square_of(five.library, five.setup.id))

    assert "and 3 more: see the findings" in page


def test_what_was_looked_at_and_is_well_is_said_with_its_number(five: Session) -> None:
    """The same lines as at the terminal and in the app, one each; a page without any has no such heading."""
    well = [one.text for one in five.looked_at()[1]]
    assert well

    page = _read(page_of(five))

    assert [text for text in well if f"<p>{text}</p>" in page] == well
    assert "and well" not in sheet_html(five.view(), five.checks())


def test_what_was_noted_is_shown_with_its_unit(five: Session) -> None:
    """Facts of the rebuild in words: metres, millimetres, per cent."""
    page = _read(page_of(five))

    for shown in ("1.25 m", "85 mm", "18 %", "grey paper", "f/8", "stool on the taped cross", "potter", "two\nlines"):
        assert shown in page


def test_the_page_speaks_the_language_in_use(five: Session) -> None:
    """In German no heading, table head, caution, drawing or step of the rebuild is left in English, and decimals have a comma."""
    english = set(re.findall(r"[a-z]{5,}", _words(page_of(five))))
    use("de")
    german = _words(page_of(five))

    given = f"{five.setup.name} {five.setup.subject} {five.setup.notes} {[*five.setup.details.values()]} {five.setup.tags}"
    commands = " meterlink import --code meterlink match meterlink meter --together "
    names = " ".join(f"{one.name} {one.fixture} {one.modifier}" for one in five.lights())
    left = english & set(re.findall(r"[a-z]{5,}", german)) - set(re.findall(r"[a-z]{5,}", given + commands + names))
    assert not left
    assert "1,20 m" in german
    assert '<html lang="de">' in page_of(five)


def test_a_step_of_the_rebuild_says_all_that_builds_the_light(five: Session) -> None:
    """Modifier, size, place, grid, power and height of the stand: the list alone is enough."""
    light = five.lights()[2]
    five.move(light, grid_deg=20.0, power_text="1/16", stand_height_m=2.3)
    step = next(one for one in rebuild_steps(five.view()) if one.startswith(light.name))

    for part in (light.modifier, "cm", "m,", "grid 20°", "power 1/16", "2.30 m above the floor"):
        assert part in step


def _read(page: str) -> str:
    """What stands on the page, wherever its lines may end."""
    return html.unescape(page).replace("\N{NO-BREAK SPACE}", " ")


def _words(page: str) -> str:
    return _read(re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL))


def test_a_command_stands_only_where_the_square_is_explained(five: Session) -> None:
    """Paper has no prompt: what to do about a finding and how to build the set again are plain words."""
    page = _words(sheet_html(five.view(), five.checks(), "<svg></svg>", "readings"))

    assert re.findall(r"meterlink \S+", page) == ["meterlink import"]
