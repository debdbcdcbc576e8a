"""The sheet in real browsers, from ``file:``: whole passes, what is kept, taken in, and found by an audit."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from tests.show.firefox import FIREFOX, Firefox
from tests.show.walks import draw_figure, write_walk

pytest.importorskip("skimage", reason="scikit-image is not installed: no pictures for the sheet")

pytestmark = pytest.mark.slow
SIZE = (1500, 1000)
ROOT = Path(__file__).resolve().parents[2]


def auditor(*words: Any, cwd: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "auditor", *map(str, words), "--cache", "off"],
        cwd=cwd,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0, done.stderr
    return done


@pytest.fixture(scope="session")
def prepared(tmp_path_factory):
    """A walk with an adapted lens and its sheet, written once; tests take copies."""
    home = tmp_path_factory.mktemp("home")
    names = [f"WALK{i + 1:04d}.jpg" for i in range(70)]
    names[7] = "WALK 50% #8.jpg"
    truth = write_walk(home / "photos", 70, SIZE, lens=False, dark=(22, 40, 41), names=names)
    auditor("prepare", "photos", cwd=home)
    return home, truth


@pytest.fixture
def home(prepared, tmp_path):
    shutil.copytree(prepared[0], tmp_path / "home")
    return tmp_path / "home", prepared[1]


@pytest.fixture
def opened(chromium):
    """Open a sheet; at the end the page must have been silent and asked for nothing but photographs."""
    noise, asked, contexts = [], [], []

    def open_sheet(home: Path, width=1400, height=900, context=None, **options):
        if context is None:
            context = chromium.new_context(viewport={"width": width, "height": height}, **options)
            contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: noise.append(message.text))
        page.on("pageerror", lambda error: noise.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto((home / "audit-notes" / "sheet.html").as_uri())
        page.evaluate("data.goes_on_ms = 20")
        return page

    yield open_sheet
    for context in contexts:
        context.close()
    assert noise == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []


def wait_until(page, expression, arg=None, seconds=15):
    """Poll from outside: the page's policy forbids what playwright would run inside."""
    until = time.monotonic() + seconds
    while not page.evaluate(expression, arg):
        assert time.monotonic() < until, expression
        time.sleep(0.02)


def set_up(page):
    """Say the sensor and one preset from the first frame on, then go to the pictures."""
    page.get_by_role("button", name="36×24 mm").click()
    add_preset(page, "arcade", "28mm", "8", "2.5m")
    page.locator(".strip button").first.click()
    page.get_by_role("button", name="How sharp, how far").click()


def add_preset(page, name, focal_length, f_number, ring):
    page.get_by_role("button", name="+ another").click()
    for key, value in (
        ("name", name),
        ("focal_length", focal_length),
        ("f_number", f_number),
        ("focus_distance", ring),
    ):
        page.locator(f"#new-preset [name={key}]").fill(value)
    page.locator("#new-preset button[type=submit]").click()


def wait_for_picture(page):
    wait_until(page, "mat.querySelector('img.now')?.naturalWidth > 0")


def ends_of(distance_m):
    """Which measure can be drawn on the figure, and its ends down the picture."""
    _, ends = draw_figure(SIZE, distance_m, 28.0)
    whole = ends["soles"] < 1
    return (
        ("standing", ends["top"], ends["soles"])
        if whole
        else ("head_shoulder", ends["top"], ends["shoulder"])
    )


def click_staff(page, share=0.6):
    box = page.locator("#staff").bounding_box()
    page.locator("#staff").click(position={"x": 90, "y": share * box["height"]})


def stroke(page, top, bottom, x=0.5):
    box = page.locator("#mat").bounding_box()
    page.mouse.move(box["x"] + x * box["width"], box["y"] + top * box["height"])
    page.mouse.down()
    for part in (0.3, 0.7, 1.0):
        page.mouse.move(box["x"] + x * box["width"], box["y"] + (top + part * (bottom - top)) * box["height"])
    page.mouse.up()


def save(page, to: Path) -> Path:
    with page.expect_download() as download:
        page.get_by_role("button", name="Save file").click()
    download.value.save_as(to)
    return to


def test_a_whole_pass_in_chromium_is_taken_in_and_audited(opened, home):
    folder, truth = home
    page = opened(folder)
    set_up(page)
    total = page.evaluate("inOrder.length")
    assert total == 60
    actions, measured, by_eye, skipped = 0, {}, {}, set()
    for number in range(total):
        if number == 30:  # everything is still there after a reload in the middle
            page.reload()
            page.evaluate("data.goes_on_ms = 20")
            assert page.locator("#count").inner_text().startswith(f"{number - len(skipped)} of 60")
        file = page.evaluate("current()")
        wait_for_picture(page)
        height = page.evaluate("mat.clientHeight")
        if number % 12 == 11:
            page.locator("#skip").click()
            actions += 1
            skipped.add(file)
            wait_until(page, "file => current() !== file || !byId('finished').hidden", arg=file)
            continue
        page.get_by_role("button", name=["Yes", "No", "Unsure"][number % 3]).click()
        guess = 0.4 + 0.2 * np.random.default_rng(number).random()
        click_staff(page, guess)
        actions += 2
        if number % 4 == 3:
            page.locator("#by-eye").click()
            by_eye[file] = page.evaluate("file => answerOf(file).guess", file)
        else:
            name, top, bottom = ends_of(truth[file])
            if page.evaluate("measure") != name:
                page.locator(f"[data-measure={name}]").click()
                actions += 1
            stroke(page, top, bottom)
            measured[file] = name
        actions += 1
        wait_until(page, "file => current() !== file || !byId('finished').hidden", arg=file)
    assert actions / total <= 4
    assert page.locator("#finished").is_visible()
    sheet = json.loads(save(page, folder / "sheet (1).json").read_text())
    assert set(sheet) == {"sample", "cameras", "presets", "stretches", "markers", "frames"}
    assert sheet["cameras"] == [{"name": "body A", "sensor": "36x24"}]
    for frame in sheet["frames"]:
        assert set(frame) == {
            "file", "measure", "share", "distances", "sd", "guess", "sharp", "sharp_seen", "shown_px",
            "reason", "skipped", "answered",
        }  # fmt: skip
        if frame["file"] in measured:  # geometry within 1 %, the pixel that a hand can set apart
            assert frame["distances"][0] == pytest.approx(
                truth[frame["file"]], rel=0.01 + 1 / (frame["share"] * height)
            )

    done = auditor("prepare", "photos", "--take", "sheet (1).json", cwd=folder)
    assert done.stdout.splitlines()[-1] == "auditor audit photos"
    assert f"{len(skipped)} skipped" in done.stderr
    assert "guess_sd" in done.stderr
    table_file = folder / "frames.csv"
    scanned = auditor("scan", "photos", "--out", table_file, cwd=folder)
    assert scanned.stderr.splitlines()[0].startswith(
        "With audit-notes/session.toml and audit-notes/notes.csv"
    )
    table = pd.read_csv(table_file).set_index("file")
    assert (table["preset"] == "arcade").all()
    assert (table["sensor_source"] == "session").all()
    for file in measured:
        assert table["subject_distance_m"][file] == pytest.approx(truth[file], rel=0.03)
    for file, guess in by_eye.items():
        assert table["subject_distance_m"][file] == pytest.approx(guess, rel=1e-3)
    assert table["subject_distance_m"].notna().sum() == len(measured) + len(by_eye)
    auditor("audit", "photos", cwd=folder)

    # Drawing again: the answered and the skipped do not come again, and nothing clashes.
    again = auditor("prepare", "photos", cwd=folder)
    assert "wait for an answer" not in again.stderr
    assert (folder / "audit-notes" / "notes.csv.before").exists()
    problems = json.loads(auditor("audit", "photos", "--json", cwd=folder).stdout)["problems"]
    assert not [p for p in problems if "second note" in p["what"] or "contradict" in p["what"]]
    table = pd.read_csv(folder / "audit-notes" / "sample.csv")
    assert table["file"].is_unique


@pytest.mark.skipif(FIREFOX is None, reason="firefox is not installed")
def test_a_whole_pass_in_firefox_with_strict_file_origins(home):
    pytest.importorskip("tornado", reason="tornado is not installed: firefox cannot be driven")
    folder, truth = home
    url = (folder / "audit-notes" / "sheet.html").as_uri()
    page = Firefox()
    try:
        page.goto(url)
        page.run("document.querySelector('#cameras button').click()")
        page.run("""(() => {
            const form = document.getElementById("new-preset");
            Object.entries({ name: "arcade", focal_length: "28mm", f_number: "8", focus_distance: "2.5m" })
              .forEach(([name, value]) => { form.elements[name].value = value; });
            form.requestSubmit(); document.querySelector(".strip button").click();
            show("frames"); data.goes_on_ms = 20;
        })()""")
        for number in range(60):
            if number == 30:
                page.goto(url)
                page.run("data.goes_on_ms = 20")
                page.run("show('frames')")
                assert page.run("Object.keys(state.frames).length") == 30
            file = page.run("current()")
            page.wait_for("mat.querySelector('img.now')?.naturalWidth > 0")
            page.press("ynu"[number % 3])
            page.press("2.5\ue007")
            if number % 4 == 3:
                page.press("b")
            else:
                name, top, bottom = ends_of(truth[file])
                page.run(f"pickMeasure('{name}')")
                x, y, width, height = page.run(
                    "(({x, y, width, height}) => [x, y, width, height])(mat.getBoundingClientRect())"
                )
                at = [(x + width / 2, y + height * (top + part * (bottom - top))) for part in (0, 0.5, 1)]
                page.stroke(*at)
                told = page.run(
                    f"distanceOf(frameOf.get({json.dumps(file)}), answerOf({json.dumps(file)}).people[0]).m"
                )
                share = page.run(f"answerOf({json.dumps(file)}).people[0].share")
                assert told == pytest.approx(truth[file], rel=0.01 + 1 / (share * height))
            page.wait_for(f"current() !== {json.dumps(file)} || !byId('finished').hidden")
        sheet = page.run("sheetFile()")
    finally:
        page.close()
    (folder / "sheet.json").write_text(json.dumps(sheet))
    auditor("prepare", "photos", "--take", "sheet.json", cwd=folder)
    auditor("audit", "photos", cwd=folder)


def test_the_keyboard_alone_needs_at_most_twelve_keys(opened, home):
    page = opened(home[0])
    set_up(page)
    for _ in range(5):
        file = page.evaluate("current()")
        keys = ["y", "2", ".", "5", "Enter", "b"]
        wait_for_picture(page)
        for key in keys:
            page.keyboard.press(key)
        assert len(keys) <= 12
        answer = page.evaluate("file => answerOf(file)", file)
        assert (answer["sharp"], answer["guess"], answer["people"][0]["measure"]) == ("yes", 2.5, "by eye")
    page.keyboard.press("s")
    page.keyboard.press("0")
    page.keyboard.press("t")
    page.keyboard.type("3.2m")
    file = page.evaluate("current()")
    page.keyboard.press("Enter")
    answer = page.evaluate("file => answerOf(file)", file)
    assert (answer["sharp"], answer["reason"], answer["guess"]) == ("no", "soft", None)
    assert answer["people"] == [{"measure": "typed", "m": 3.2}]
    page.keyboard.press("z")  # undo goes back to that picture, as it was before
    assert page.evaluate("current()") == file
    assert "people" not in page.evaluate("answerOf(current())")
    page.keyboard.press("x")
    assert "1 skipped" in page.locator("#count").inner_text()


def test_handles_move_by_arrow_keys_and_shares_can_be_typed(opened, home):
    page = opened(home[0])
    set_up(page)
    page.keyboard.press("y")
    page.keyboard.press("0")
    page.evaluate("state.options.goesOn = false")
    stroke(page, 0.3, 0.8)
    handle = page.get_by_role("slider", name="The soles")
    before = float(handle.get_attribute("aria-valuenow"))
    handle.focus()
    for _ in range(5):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+ArrowUp")
    height = page.evaluate("mat.clientHeight")
    after = float(page.get_by_role("slider", name="The soles").get_attribute("aria-valuenow"))
    assert after - before == pytest.approx(-5 * 100 / height, abs=0.11)
    assert page.evaluate("answerOf(current()).people.length") == 1
    page.locator("#typing summary").click()
    page.locator("#type-form [name=share]").fill("50%")
    page.locator("#type-form button").click()
    assert page.locator("#reading").inner_text() == "4.01 m"  # 4.0050 m by hand, see test_shares


def test_several_people_the_one_meant_first(opened, home):
    page = opened(home[0])
    set_up(page)
    page.evaluate("state.options.goesOn = false")
    page.keyboard.press("y")
    page.keyboard.press("0")
    stroke(page, 0.3, 0.8, 0.4)
    page.locator("#another").click()
    stroke(page, 0.4, 0.7, 0.6)
    frame = page.evaluate("sheetFile().frames[0]")
    assert len(frame["distances"]) == 2
    assert frame["share"] == pytest.approx(0.5, abs=0.004)
    assert frame["distances"][0] < frame["distances"][1]


def test_scrolling_by_touch_never_measures_and_taps_do(opened, home):
    page = opened(home[0], 360, 700, has_touch=True)
    page.get_by_role("button", name="How sharp, how far").click()
    page.get_by_role("button", name="Yes").tap()
    page.locator("#no-guess").tap()
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#mat").bounding_box()
    touch = page.context.new_cdp_session(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + 0.8 * box["height"]
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for up in range(10, 160, 10):
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x, "y": y - up}]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert page.evaluate("scrollY") > 0
    assert page.evaluate("[ends.length, answerOf(current()).people?.length ?? 0]") == [0, 0]
    before = -1
    while (now := page.evaluate("scrollY")) != before:  # a tap while it glides only stops it
        before = now
        time.sleep(0.2)
    box = page.locator("#mat").bounding_box()
    for share in (0.35, 0.85):
        page.touchscreen.tap(
            box["x"] + box["width"] / 2, max(2, box["y"]) + share * (box["height"] + min(0, box["y"]))
        )
    wait_until(page, "ends.length === 2")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


# What lies over the middle of a button, which the mouse then cannot reach; and what is written over what.
COVERED = """() => {
  const name = (e) => e.id || e.name || e.textContent;
  const parts = document.querySelectorAll("header *, #notice *, #side *");
  const all = [...parts].filter((e) => e.checkVisibility() && e.getBoundingClientRect().width);
  const faults = [];
  for (const one of all.filter((e) => e.matches("button:not(:disabled), summary, input"))) {
    one.scrollIntoView({ block: "nearest" });
    const box = one.getBoundingClientRect();
    const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
    if (!one.contains(top)) faults.push(`${name(one)} under ${top ? name(top) : "nothing"}`);
  }
  const written = "button, summary, input, text, h2, .wrong, .hint, output";
  const shown = all.filter((e) => e.matches(written) && !e.matches(".unseen"));
  shown.forEach((one, i) => shown.slice(i + 1).forEach((other) => {
    if (one.contains(other)) return;
    const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
    const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    const marks = one.matches("text") && other.matches("text"); // whose boxes are higher than their digits
    if (across > 1 && down > (marks ? 6 : 1)) faults.push(`${name(one)} over ${name(other)}`);
  }));
  const [set, next] = ["#type-form button", "#next"].map((one) => document.querySelector(one));
  const edge = (e, side) => e.getBoundingClientRect()[side];
  if (edge(mat, "bottom") > edge(stage, "bottom") + 1) faults.push("the picture is cut");
  if (set.checkVisibility() && edge(next, "top") - edge(set, "bottom") < 6) faults.push("Set touches Next");
  return faults;
}"""


@pytest.mark.parametrize("size", [(1440, 760), (1200, 900), (1200, 800), (390, 800)])
def test_nothing_lies_over_a_button_and_all_can_be_reached(opened, home, size):
    page = opened(home[0], *size)
    set_up(page)
    wait_for_picture(page)
    page.evaluate("state.options.goesOn = false")
    states = {
        "sharp": "0",
        "guess": "judgeSharp('yes')",
        "guess refused": "byId('guess').value = 'abc'; byId('guess-form').requestSubmit()",
        "panel closed": "guess(2.5)",
        "panel open": "byId('typing').open = true",
        "refused": "byId('type-form').elements.distance.value = 'abc'; byId('type-form').requestSubmit()",
        "measured, open": "ends = [[0.5, 0.3], [0.5, 0.8]]; measured(true)",
        "measured, closed": "byId('typing').open = false",
    }
    for state, step in states.items():
        page.evaluate(f"{{ {step} }}")
        page.wait_for_timeout(100)  # the staff is drawn anew when its size has changed
        assert page.evaluate(COVERED) == [], state
    page.evaluate("byId('typing').open = true; byId('type-form').requestSubmit()")
    page.locator("#back").scroll_into_view_if_needed()
    page.evaluate("changeFrame(current(), { people: [] }); drawFrame()")
    page.locator("#nobody").click()
    assert page.evaluate("answerOf(inOrder[0]).nobody") is True


def test_numbers_are_typed_as_elsewhere_and_several_people_at_once(opened, home):
    page = opened(home[0])
    page.get_by_role("button", name="36×24 mm").click()
    add_preset(page, "nothing", "0", "8", "2.5m")
    assert "like 28 or 28mm" in page.locator("#new-preset .wrong").inner_text()
    page.get_by_role("button", name="Cancel").click()
    add_preset(page, "arcade", "35", "8", "2.5m")
    assert page.evaluate("state.presets.map((preset) => preset.focal_length)") == ["35mm"]
    page.get_by_role("button", name="How sharp, how far").click()
    for key in ("y", "0", "t"):
        page.keyboard.press(key)
    page.keyboard.type("6ft; 6 yards")
    page.keyboard.press("Enter")
    assert "6ft; 13ft" in page.locator("#typing .wrong").inner_text()
    page.locator("#type-form [name=distance]").fill("6ft; 13ft")
    page.keyboard.press("Enter")
    assert page.evaluate("sheetFile().frames[0].distances") == pytest.approx([1.8288, 3.9624], rel=1e-4)
    page.evaluate("goTo(0); another()")
    page.keyboard.press("t")
    page.keyboard.type("5m; 6m")
    page.keyboard.press("Enter")
    assert page.evaluate("sheetFile().frames[0].distances")[2:] == [5, 6]
    page.evaluate("goTo(0)")
    page.keyboard.press("t")
    page.keyboard.type("3m")
    page.keyboard.press("Enter")
    assert page.evaluate("sheetFile().frames[0].distances") == pytest.approx([3, 3.9624, 5, 6], rel=1e-4)


def test_handing_over_agrees_with_its_table_and_with_what_the_command_says(opened, home):
    folder, _ = home
    page = opened(folder)
    set_up(page)
    lead = page.locator("#over-lead")
    page.keyboard.press("y")
    page.keyboard.press("x")
    page.keyboard.press("n")
    page.evaluate("show('over')")
    assert lead.inner_text().startswith("0 of 60 pictures are done, 1 begun, 1 skipped.")
    # Twelve guesses, a third short of 3.97 m each but for a tenth either way.
    page.evaluate("""for (const [i, file] of inOrder.slice(0, 12).entries()) state.frames[file] = {
        answered: now(), sharp: "yes", guess: 4.005 * 2 / 3 * (1 + 0.1 * (i % 3 - 1)),
        people: [{ measure: "standing", share: 0.5, reading: 0.003 }] }; keep();""")
    told = page.locator("#judged > p").first.inner_text()
    assert told.startswith("Your guess is 33 % short on the whole. Two guesses in three lie from ")
    assert "eyond" not in told, "all are beyond"
    range_told = told.split("lie ")[1].split(" that")[0]
    assert lead.inner_text().startswith("12 of 60 pictures are done.")
    save(page, folder / "sheet.json")
    taken = auditor("prepare", "photos", "--take", "sheet.json", cwd=folder)
    assert f"33 % short on the whole, two in three {range_told} that;" in taken.stderr
    page.evaluate("""for (const file of inOrder.slice(12, 20)) state.frames[file] = {
        answered: now(), sharp: "yes", guess: 2,
        people: [{ measure: "standing", share: 0.95, reading: 0.003 }] }; keep();""")
    assert re.search(
        r"Up to 2\.5 m: \d+ % short \(8 guesses\); beyond: 33 % short \(12\)\.",
        page.locator("#judged > p").first.inner_text(),
    )


def test_declared_presets_have_their_names_and_a_walk_that_is_half_set_is_shown(opened, home):
    folder, _ = home
    (folder / "photos" / "session.toml").write_text("""
[[lens]]
name = "brass 28"
focal_length = "28mm"
[[preset]]
name = "Nancy"
lens = "brass 28"
f_number = 8
focus_distance = "inf"
[[stretch]]
preset = "Nancy"
from = "WALK0001"
to = "WALK0061"
""")
    auditor("prepare", "photos", cwd=folder)
    page = opened(folder)
    assert page.evaluate("data.presets") == [
        {"name": "Nancy", "focal_length": "28mm", "f_number": 8, "focus_distance": "inf"}
    ]
    assert page.locator("#chips button").first.inner_text().startswith("Nancy 28 mm f/8 ring on inf")
    shots = page.locator(".strip > button")
    assert shots.count() == 70, "ten of them have no setting"
    labels = shots.evaluate_all("all => all.map((one) => one.ariaLabel)")
    assert [label.rsplit(": ")[1] for label in labels] == ["Nancy"] * 60 + ["not known"] * 10
    (folder / "sheet.json").write_text(json.dumps(page.evaluate("sheetFile()")))
    auditor("prepare", "photos", "--take", "sheet.json", cwd=folder)


def test_two_tabs_of_one_sheet_merge_by_frame_and_time(opened, home):
    first = opened(home[0])
    set_up(first)
    second = opened(home[0], context=first.context)
    second.get_by_role("button", name="How sharp, how far").click()
    first.keyboard.press("y")
    first.keyboard.press("x")
    wait_until(second, "Object.keys(state.frames).length === 1")
    second.evaluate("goTo(5)")
    second.keyboard.press("n")
    wait_until(first, "Object.keys(state.frames).length === 2")
    second.evaluate("goTo(0)")  # skipped in the other tab, and judged after all
    second.keyboard.press("n")
    wait_until(first, "answerOf(inOrder[0]).sharp === 'no'")
    assert first.evaluate("state.presets.length") == second.evaluate("state.presets.length") == 1


def test_an_empty_sheet_offers_to_load_and_a_file_brings_everything_back(opened, home):
    folder, _ = home
    page = opened(folder)
    assert "Load your sheet.json" in page.locator("#notice").inner_text()
    set_up(page)
    assert page.locator("#notice").is_hidden()
    for key in ("y", "2", "Enter", "b", "n", "0", "p"):
        page.keyboard.press(key)
    file = save(page, folder / "sheet.json")
    before = page.evaluate("sheetFile()")
    other = opened(folder)  # another browser: its own storage
    assert other.evaluate("Object.keys(state.frames).length") == 0
    other.locator("#load-file").set_input_files(file)
    wait_until(other, "Object.keys(state.frames).length === 2")
    after = other.evaluate("sheetFile()")
    assert after == before
    (folder / "foreign.json").write_text('{"sample": "other", "frames": []}')
    other.locator("#load-file").set_input_files(folder / "foreign.json")
    wait_until(other, "document.getElementById('notice').innerText.includes('no sheet.json of this sample')")


def test_it_reminds_once_of_saving(opened, home):
    page = opened(home[0])
    set_up(page)
    for _ in range(20):
        for key in ("y", "0", "p"):
            page.keyboard.press(key)
    assert "Save the file" in page.locator("#notice").inner_text()
    page.locator("#notice button").click()
    for key in ("y", "0", "p"):
        page.keyboard.press(key)
    assert page.locator("#notice").is_hidden()


def test_the_loupe_is_recorded_and_shows_the_files_own_pixels(opened, home):
    page = opened(home[0])
    set_up(page)
    wait_for_picture(page)
    page.keyboard.press("l")
    assert page.evaluate("loupe.firstElementChild.offsetWidth") == 1500
    page.keyboard.press("y")
    page.keyboard.press("0")
    page.keyboard.press("p")
    page.keyboard.press("y")
    frames = page.evaluate("sheetFile().frames")
    width = page.evaluate("mat.clientWidth")
    assert sorted((f["sharp_seen"], f["shown_px"]) for f in frames) == [("pixels", 1500), ("shown", width)]


def test_unsure_is_forced_where_more_is_shown_than_the_file_holds(opened, home):
    page = opened(home[0], 2400, 1500)
    set_up(page)
    wait_for_picture(page)
    wait_until(page, "byId('too-few').hidden === false")
    assert "1500 pixels across" in page.locator("#too-few").inner_text()
    assert page.get_by_role("button", name="Yes").is_disabled()
    page.keyboard.press("y")
    assert page.evaluate("step()") == "sharp"
    page.keyboard.press("u")
    assert page.evaluate("step()") == "guess"


def test_stretches_and_markers_as_the_session_file_reads_them(opened, home):
    folder, _ = home
    page = opened(folder)
    page.get_by_role("button", name="36×24 mm").click()
    add_preset(page, "arcade", "28mm", "8", "2.5m")
    add_preset(page, "corner", "28mm", "5.6", "3m")
    page.keyboard.press("1")
    shots = page.locator(".strip > button")
    shots.nth(0).click()
    assert "a change to corner?" in page.locator(".dark").first.inner_text()
    page.get_by_role("button", name="Yes, WALK0023").click()
    assert "corner" in page.locator(".dark").nth(1).inner_text(), "two dark frames: the one after the next"
    page.get_by_role("button", name="No, WALK0042").click()
    page.keyboard.press("0")
    shots.nth(60).click()
    sheet = page.evaluate("sheetFile()")
    assert sheet["markers"] == ["WALK0023"]
    assert sheet["stretches"] == [
        {"preset": "arcade", "from": "WALK0001", "to": "WALK0024", "camera": "body A"},
        {"preset": "corner", "from": "WALK0024", "to": "WALK0061", "camera": "body A"},
    ]
    page.keyboard.press("z")
    assert "to" not in page.evaluate("sheetFile().stretches[1]")
    (folder / "sheet.json").write_text(json.dumps(sheet))
    auditor("prepare", "photos", "--take", "sheet.json", cwd=folder)
    auditor("scan", "photos", "--out", folder / "frames.csv", cwd=folder)
    counts = pd.read_csv(folder / "frames.csv")["preset"].value_counts(dropna=False)
    assert (counts["arcade"], counts["corner"]) == (22, 37)  # the marker is no photograph


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1200])
def test_axe_finds_no_violation_in_any_state(opened, home, scheme, width):
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is missing"
    )
    page = opened(home[0], width, 800, color_scheme=scheme)

    def check(state):
        found = axe.Axe().run(page).response
        assert len(found["passes"]) > 10
        faults = [f"{f['id']}: {n['html'][:120]}" for f in found["violations"] for n in f["nodes"]]
        assert faults == [], state
        assert page.evaluate("document.documentElement.scrollWidth") <= width, state

    check("empty")
    page.get_by_role("button", name="36×24 mm").click()
    page.get_by_role("button", name="+ another").click()
    check("new preset")
    page.get_by_role("button", name="Cancel").click()
    add_preset(page, "arcade", "28mm", "8", "2.5m")
    page.locator(".strip > button").first.click()
    check("set")
    page.get_by_role("button", name="How sharp, how far").click()
    wait_for_picture(page)
    check("sharp")
    page.get_by_role("button", name="Yes").click()
    check("guess")
    click_staff(page)
    page.locator("#typing summary").click()
    page.evaluate("state.options.goesOn = false")
    check("measure")
    page.locator("#mat").scroll_into_view_if_needed()
    stroke(page, 0.3, 0.8)
    check("measured")
    page.evaluate("""for (const [i, file] of inOrder.entries()) state.frames[file] = {
        answered: now(), sharp: "yes", guess: 2 + 0.1 * (i % 7),
        people: [{ measure: "standing", share: 0.5 + 0.01 * (i % 20), reading: 0.003 }] }; keep();""")
    page.get_by_role("button", name="Hand over").first.click()
    assert "Two guesses in three" in page.locator("#judged").inner_text()
    check("handed over")


def test_controls_have_their_own_names(opened, home):
    page = opened(home[0])
    set_up(page)
    page.keyboard.press("y")
    names = page.eval_on_selector_all(
        "#frames button:not([hidden])",
        "all => all.filter(b => b.checkVisibility()).map(b => (b.ariaLabel ?? b.innerText).trim())",
    )
    assert len(names) == len(set(names)) > 5
    assert all(names)


def test_the_printed_form_has_boxes_large_enough_for_a_pen(opened, home):
    page = opened(home[0])
    page.emulate_media(media="print")
    boxes = page.eval_on_selector_all(
        "#paper .boxes span", "all => all.map(b => b.getBoundingClientRect()).map(r => [r.width, r.height])"
    )
    mm = 96 / 25.4
    assert len(boxes) == 4 * 60
    assert all(width >= 18 * mm - 0.5 and height >= 8 * mm - 0.5 for width, height in boxes)
    assert page.locator("#settings").is_hidden()


NUMBERS = """
() => [
  ["standing", .5, 28, 24], ["standing", .7, 28, 24], ["head_shoulder", .2, 35, 24], ["face", .1, 35, 24],
  ["pupils", .05, 50, 36],
  ["shoulders", .3, 35, 15.6], ["seated", .5, 28, 24], ["face", .9, 90, 200],
].map(([name, ...rest]) => [name, ...rest, distanceOfShare(rest[0], name, rest[1], rest[2], .004)])
"""


def test_the_page_computes_what_python_computes(opened, home):
    from scipy.stats import norm

    from auditor.evidence.judging import judge_guesses
    from auditor.intake.statements.bodies import MEASURES, distance_of_share
    from auditor.optics.lens import sharp_zone
    from auditor.optics.sensors import parse_sensor

    page = opened(home[0])
    for name, share, focal, height, told in page.evaluate(NUMBERS):
        distance, rel_sd = distance_of_share(share, MEASURES[f"{name}_share"], focal, height, 0.004)
        if told is None:
            assert np.isnan(distance)
        else:
            assert (told["m"], told["sd"]) == (
                pytest.approx(float(distance), rel=1e-9),
                pytest.approx(float(rel_sd), rel=1e-9),
            )
    for focal, stop, focus in ((28, 8, 2.5), (28, 8, 6), (50, 2, 1.2), (35, 11, np.inf)):
        zone = page.evaluate(f"zoneOf({focal}, {stop}, {'Infinity' if np.isinf(focus) else focus}, 0.03)")
        expected = sharp_zone(focal, stop, focus, 0.03)
        for wanted, own in ((expected.near_limit_m, zone["near"]), (expected.far_limit_m, zone["far"])):
            assert (np.inf if own is None else own) == pytest.approx(float(wanted), rel=1e-6)
    rng = np.random.default_rng(9)
    true = rng.uniform(1, 6, 45)
    guess = true * np.exp(rng.normal(-0.05, 0.2, 45))
    pairs = [{"guess": float(g), "m": float(m), "sd": 0.08} for g, m in zip(guess, true, strict=True)]
    own, judged = page.evaluate("pairs => judgeGuesses(pairs)", pairs), judge_guesses(guess, true, 0.08)
    assert [own["n"], own["bias"], own["spread"], own["guess_sd"]] == pytest.approx(
        [judged.guesses, judged.bias, judged.spread, judged.guess_sd], rel=1e-9
    )
    for metres in (1.0, 2.5, 5.0):
        inside = page.evaluate(f"eye => shareInside({metres}, {{ near: 1.71, far: 4.74 }}, eye)", own)
        ends = norm(np.log(metres) - judged.bias, judged.spread).cdf(np.log([1.71, 4.74]))
        assert inside == pytest.approx(np.diff(ends)[0], abs=1e-6)
    for text in ("36x24", "23.6 x 15.7", "1.5x", "17.3×13"):
        sensor = parse_sensor(text)
        assert page.evaluate("text => sensorSides(text)", text) == pytest.approx(
            [sensor.width_mm, sensor.height_mm]
        )
    heights = "[[4000, 6000], [6000, 4000], [4000, 4000]].map((sides) => pictureHeight([36, 24], ...sides))"
    assert page.evaluate(heights) == [36, 24, None]


def test_distances_are_read_as_everywhere_else(opened, home):
    from auditor.errors import UnitError
    from auditor.units import parse_distance_m

    page = opened(home[0])
    for text in (
        "2.5m",
        "250cm",
        "7ft",
        "6ft 6in",
        "2,5 m",
        "inf",
        "7'",
        "6' 6\"",
        "-2m",
        "0m",
        "2",
        "m",
        "2.5 yards",
    ):
        told = page.evaluate(
            "text => { const m = parseDistance(text); return m === Infinity ? 'inf' : m; }", text
        )
        try:
            expected = parse_distance_m(text)
        except UnitError:
            assert told is None, text
        else:
            assert float(told) == pytest.approx(expected), text


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """Eight photographs of 24 megapixels."""
    home = tmp_path_factory.mktemp("large")
    write_walk(home / "photos", 2, (6000, 4000))
    rng = np.random.default_rng(2)
    for i in range(3, 9):
        source = home / "photos" / f"WALK000{1 + i % 2}.jpg"
        with Image.open(source) as picture:
            exif = picture.getexif().tobytes()
            fine = Image.fromarray(rng.integers(0, 60, (400, 600, 3)).astype("uint8")).resize((6000, 4000))
            Image.blend(picture, fine, 0.3).save(home / "photos" / f"WALK{i:04d}.jpg", quality=90, exif=exif)
    auditor("prepare", "photos", cwd=home)
    return home


# How long from the key until the next picture was painted: Event Timing (W3C), in steps of 8 ms. Firefox
# decodes within the painting itself, so what comes after the next frame comes after it.
WATCH = """(() => {
  globalThis.painted = [];
  new PerformanceObserver((list) => painted.push(...list.getEntries().filter((one) => one.name === "keydown")
    .map((one) => one.duration))).observe({ type: "event", durationThreshold: 16 });
  globalThis.passed = [];
  addEventListener("keydown", () => {
    const begun = performance.now();
    requestAnimationFrame(() => setTimeout(() => passed.push(performance.now() - begun)));
  }, true);
})()"""


def test_the_next_original_of_24_megapixels_is_painted_at_once(opened, large):
    page = opened(large)
    page.get_by_role("button", name="How sharp, how far").click()
    page.evaluate(WATCH)
    for _ in range(6):
        wait_until(page, "mat.querySelector('img.later')?.complete")
        time.sleep(1.5)  # less than anybody looks at a picture
        page.keyboard.press("x")
    time.sleep(1)
    assert len(page.evaluate("passed")) == 6
    check_paints("Chromium", page.evaluate("painted"))
    assert page.evaluate("Math.max(...[...pictures.values()].map((image) => image.naturalWidth))") == 6000


@pytest.mark.skipif(FIREFOX is None, reason="firefox is not installed")
def test_the_next_original_is_painted_at_once_in_firefox(large):
    page = Firefox()
    try:
        page.goto((large / "audit-notes" / "sheet.html").as_uri())
        page.run("show('frames')")
        page.run(WATCH)
        for _ in range(6):
            page.wait_for("mat.querySelector('img.later')?.complete")
            time.sleep(1.5)
            page.press("x")
        time.sleep(1)
        waits, passed = page.run("painted"), page.run("passed")
    finally:
        page.close()
    assert len(passed) == 6
    check_paints("Firefox", [*waits, *passed])


def check_paints(browser, waits):
    """Events painted within 16 ms are not told."""
    waits = sorted([*waits, *[16] * (6 - len(waits))])
    print(f"{browser}, 24 MP, ms until painted:", waits)
    assert np.median(waits) <= 100
    assert max(waits) <= 300
