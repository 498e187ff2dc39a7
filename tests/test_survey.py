"""A folder by difficulty: the same table whoever computes it, one line for a bad file, and no work done twice."""

import csv
import io
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import pytest
from music21 import common

from harmonylib.__main__ import main
from harmonylib.answering.gaps import gaps
from harmonylib.arranging.arrange import arrange
from harmonylib.classroom import repertoire, store
from harmonylib.classroom.difficulty import WEIGHTS, Outcome, Row, Task, difficulty_parts, measure
from harmonylib.classroom.repertoire import survey
from harmonylib.classroom.reports import Survey
from harmonylib.classroom.store import HOUSE, STORE
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.tunes.chordtones import ROLES
from harmonylib.tunes.reading import count_tunes, read, tunes_in

CORPUS = Path(common.getCorpusFilePath())
OWN = Path(__file__).resolve().parent.parent / "chapters" / "tunes"
BOOK = CORPUS / "nottingham-dataset" / "reelsa-c.abc"
GOOD = [*sorted(OWN.glob("*.abc")), *sorted((CORPUS / "leadSheet").glob("*.mxl")), BOOK]
BAD = {
    "empty.abc": b"",
    "no_chords.abc": b"X:1\nT:No chords\nM:4/4\nL:1/4\nK:C\nC D E F|\n",
    "no_notes.abc": b'X:1\nT:No notes\nM:4/4\nL:1/4\nK:C\n"C"z4|\n',
    "noise.mxl": bytes(range(256)) * 8,
    "other.xml": b"<shopping><milk/></shopping>",
    "cut short.musicxml": b'<?xml version="1.0"?><score-partwise><part-list>',
}
DIES, HANGS = "dies.abc", "hangs.abc"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six tunes in five files, one of them in a folder below, and six files that are no tunes."""
    here = tmp_path_factory.mktemp("tunes")
    (here / "below").mkdir()
    for path in GOOD:
        shutil.copy(path, here / "below" if path == BOOK else here)
    for name, data in BAD.items():
        (here / name).write_bytes(data)
    (here / ".hidden.abc").write_bytes(BAD["no_chords.abc"])
    (here / "notes.txt").write_text("not a tune")
    return here


@pytest.fixture(scope="module")
def found(folder: Path) -> Survey:
    with ThreadPoolExecutor(2) as executor:
        return survey(folder, executor=executor)


def quick(folder: Path, out: Path | None = None, **how: object) -> Survey:
    with ThreadPoolExecutor(1) as executor:
        return survey(folder, out, executor=executor, **how)  # type: ignore[arg-type]


def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files that are really measured from here on."""
    seen: list[str] = []

    def watching(task: Task) -> Outcome:
        seen.append(f"{task.file} {task.number}")
        return measure(task)

    monkeypatch.setattr(repertoire, "measure", watching)
    return seen


def killing(task: Task) -> Outcome:
    """`measure`, in a process that two of the files bring down or hold up."""
    if task.file == DIES:
        os._exit(3)
    if task.file == HANGS:
        time.sleep(600)
    return measure(task)


# --- the table ----------------------------------------------------------------------------------------------------


def test_every_tune_has_a_row_and_every_bad_file_a_line(found: Survey) -> None:
    assert {(row.file, row.number) for row in found.rows} == {
        *((path.name, 1) for path in GOOD if path != BOOK),
        *((f"below/{BOOK.name}", number) for number in (1, 2)),
    }
    assert {failure.file for failure in found.failures} == set(BAD)
    assert len(found.failures) == len(BAD)
    listed = found.text.partition("Not surveyed:\n")[2].splitlines()
    assert [line.strip().partition(":")[0] for line in listed] == sorted(BAD)
    assert all(failure.why and failure.why in found.text for failure in found.failures)


def test_the_figures_are_those_of_the_arrangement(found: Survey) -> None:
    """Counted again here, note by note."""
    for row in found.rows:
        path = next(p for p in GOOD if p.name == Path(row.file).name)
        tune = read(path, row.number)
        arrangement = arrange(tune, density="every")
        seconds = float(tune.end) * 60 / tune.tempo
        assert (row.title, row.key, row.tempo) == (tune.title, tune.key, tune.tempo)
        assert (row.bars, row.notes) == (len(tune.bars), len(tune.notes))
        heights = {note.pitch.midi: str(note.pitch) for note in reversed(tune.notes)}
        assert {row.lowest, row.highest} == {heights[min(heights)], heights[max(heights)]}
        under = [c.tested for c in arrangement.choices if c.chord]
        foreign = [t.role for t in under if t.degree is None]
        assert row.foreign == {role: foreign.count(role) for role in sorted(set(foreign), key=list(ROLES).index)}
        assert row.chord_tones == pytest.approx(1 - len(foreign) / len(under), abs=1e-4)
        assert row.harmonisable == pytest.approx(arrangement.share, abs=1e-4)
        assert row.gaps == sum(gap.why_silent == "" for gap in gaps(arrangement))
        frets = [[f for f in c.grip.frets if f] or [0] for c in arrangement.choices if c.grip]
        place = [648 - 648 / 2 ** (min(f) / 12) for f in frets]
        way = sum(abs(b - a) for a, b in zip(place, place[1:], strict=False))
        assert row.travel_mm_per_minute == pytest.approx(way / seconds * 60, abs=0.06)
        widest = max(648 / 2 ** (min(f) / 12) - 648 / 2 ** (max(f) / 12) for f in frets)
        assert row.widest_reach_mm == pytest.approx(widest, abs=0.06)
        assert row.widest_reach_mm <= 105


def test_a_small_tune_counted_by_hand(tmp_path: Path) -> None:
    tune = 'X:1\nT:Small\nM:4/4\nL:1/4\nQ:1/4=60\nK:C\n"Cmaj7"E2 "Cmaj7"G2|B4|"Dm7"A2 G F|"G7"D4|]\n'
    (tmp_path / "small.abc").write_text(tune)
    (row,) = quick(tmp_path).rows
    assert (row.bars, row.notes, row.lowest, row.highest, row.metre) == (4, 7, "D4", "B4", "4/4")
    assert row.chord_tones == pytest.approx(6 / 7, abs=1e-4)
    assert row.foreign == {"passing note": 1}
    assert row.fastest_change_s == 4, "Cmaj7 written twice is no change"
    assert row.chords_per_second == pytest.approx(7 / 16, abs=1e-3)


def test_the_table_is_sorted_by_a_difficulty_anyone_can_work_out_again(found: Survey) -> None:
    """From the printed parts and the columns of the CSV alone."""
    table = list(csv.DictReader(io.StringIO(found.csv)))
    assert len(table) == 6
    for line in table:
        total = 0.0
        for column, nothing_at, all_at, points, _ in difficulty_parts().rows:
            easy, hard = float(nothing_at), float(all_at)
            share = (float(line[column]) - easy) / (hard - easy) if line[column] else 0
            total += float(points) * min(max(share, 0), 1)
        assert float(line["difficulty"]) == pytest.approx(total, abs=0.006)
    difficulties = [float(line["difficulty"]) for line in table]
    assert difficulties == sorted(difficulties)
    assert len(set(difficulties)) == 6
    assert repr(difficulty_parts()) in found.text
    assert sum(weight.points for weight in WEIGHTS.values()) == pytest.approx(10)


@pytest.mark.parametrize("name", WEIGHTS)
def test_each_entry_rises_from_easy_to_hard_and_no_further(name: str, found: Survey) -> None:
    weight, row = WEIGHTS[name], found.rows[0]
    values = [weight.easy + (weight.hard - weight.easy) * step / 4 for step in range(-1, 6)]
    rows = [Row(**{**{f: getattr(row, f) for f in Row.__slots__}, weight.column: value}) for value in values]
    points = [made.parts[name] for made in rows]
    assert points == pytest.approx([0, 0, *(weight.points * n / 4 for n in (1, 2, 3)), weight.points, weight.points])


def test_the_same_tunes_twice_as_fast_are_harder(folder: Path, found: Survey) -> None:
    slow, fast = (
        {(r.file, r.number): r.difficulty for r in quick(folder, tempo=tempo).rows} for tempo in (80.0, 160.0)
    )
    assert slow.keys() == fast.keys()
    assert all(fast[tune] > slow[tune] for tune in slow)


def test_foreign_notes_make_a_tune_harder(tmp_path: Path) -> None:
    for name, note in (("plain", "G"), ("foreign", "^F")):
        (tmp_path / f"{name}.abc").write_text(
            f'X:1\nT:{name}\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E{note}EG|"Cmaj7"E{note}EG|]\n'
        )
    parts = {row.title: row.parts for row in quick(tmp_path).rows}
    name = next(name for name, weight in WEIGHTS.items() if weight.column == "chord_tones")
    assert parts["foreign"][name] > parts["plain"][name] == 0


def test_csv_cannot_run_and_opens_with_its_flats(tmp_path: Path) -> None:
    (tmp_path / "risky.abc").write_text('X:1\nT:=HYPERLINK("x")\nM:4/4\nL:1/4\nK:Bb\n"Bb"B4|]\n')
    done = quick(tmp_path)
    files = done.write(tmp_path / "out")
    assert [path.name for path in files] == ["survey.csv", "survey.pdf", "survey.svg"]
    data = files[0].read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    (line,) = csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""))
    assert line["title"] == '\'=HYPERLINK("x")'
    assert line["key"] == "B♭ major"
    assert line["fastest change s"] == ""
    assert files[1].read_bytes().startswith(b"%PDF")


def test_the_chart_names_every_tune_with_its_difficulty(found: Survey) -> None:
    picture = found.picture("paper")
    assert picture.text.startswith("Difficulty of 6 tunes: ")
    for row in found.rows:
        assert f"{row.title} {row.difficulty:.2f}" in picture.text
    assert picture.svg == found.picture("paper").svg
    many = Survey("", found.rows * 50, (), 0).picture("paper")
    assert "300 tunes, 60 shown" in many.text
    assert many.height < 1200


def test_a_link_to_nowhere_costs_a_line_and_a_pipe_holds_nothing_up(tmp_path: Path) -> None:
    shutil.copy(OWN / "slate_roof_blues.abc", tmp_path)
    (tmp_path / "lost.abc").symlink_to(tmp_path / "nowhere.abc")
    os.mkfifo(tmp_path / "pipe.abc")
    done = quick(tmp_path)
    assert [row.file for row in done.rows] == ["slate_roof_blues.abc"]
    assert [failure.file for failure in done.failures] == ["lost.abc"]
    assert "was not found" in done.failures[0].why


# --- who computes it ----------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_one_process_two_processes_and_threads_find_the_same(folder: Path, found: Survey, tmp_path: Path) -> None:
    one = survey(folder, tmp_path / "one", jobs=1)
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as executor:
        two = survey(folder, tmp_path / "two", executor=executor)
    assert one == two == found
    assert one.computed == 6 + len(BAD)
    assert (one.text, one.csv) == (two.text, two.csv) == (found.text, found.csv)
    stored = [sorted((tmp_path / name / STORE).read_text().splitlines()) for name in ("one", "two")]
    assert stored[0] == stored[1]


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_dask_cluster_finds_the_same(folder: Path, found: Survey) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra “cluster” is not installed")
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=2, dashboard_address=None, silence_logs=50) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert survey(folder, executor=client.get_executor()) == found


@pytest.mark.slow
def test_a_tune_that_kills_or_holds_up_its_process_costs_one_line(
    folder: Path, found: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(folder, tmp_path / "in")
    for name in (DIES, HANGS):
        shutil.copy(OWN / "slate_roof_blues.abc", tmp_path / "in" / name)
    monkeypatch.setattr(repertoire, "measure", killing)
    done = survey(tmp_path / "in", tmp_path / "out", jobs=2, limit_s=5)
    assert done.rows == found.rows
    assert {f.file: f.why for f in done.failures if f.file in (DIES, HANGS)} == {
        DIES: "the process that worked on it died",
        HANGS: "it took longer than 5 s",
    }
    assert len(done.failures) == len(found.failures) + 2
    monkeypatch.setattr(repertoire, "measure", measure)
    again = quick(tmp_path / "in", tmp_path / "out")
    assert again.computed == 2, "what the machine did not survive is tried again"
    assert len(again.rows) == len(found.rows) + 2


@pytest.mark.slow
def test_a_broken_executor_of_ones_own_is_replaced(
    folder: Path, found: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(folder, tmp_path / "in")
    shutil.copy(OWN / "slate_roof_blues.abc", tmp_path / "in" / DIES)
    monkeypatch.setattr(repertoire, "measure", killing)
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as executor:
        done = survey(tmp_path / "in", executor=executor, jobs=1)
    assert done.rows == found.rows
    assert [f.file for f in done.failures if f not in found.failures] == [DIES]


def test_only_a_few_tasks_are_out_at_a_time(tmp_path: Path) -> None:
    tune = (OWN / "slate_roof_blues.abc").read_text()
    (tmp_path / "book.abc").write_text("\n\n".join([tune] * 40))
    out = most = 0

    class Watching(ThreadPoolExecutor):
        def submit(self, *call: object, **named: object):  # type: ignore[no-untyped-def]
            nonlocal out, most
            out += 1
            most = max(most, out)
            future = super().submit(*call, **named)  # type: ignore[arg-type]
            future.add_done_callback(lambda _: done())
            return future

    def done() -> None:
        nonlocal out
        out -= 1

    with Watching(1) as executor:
        assert len(survey(tmp_path, executor=executor, jobs=1).rows) == 40
    assert 1 <= most <= 5


# --- going on -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_script_that_forgot_its_guard_is_told_so(tmp_path: Path) -> None:
    script = tmp_path / "forgot.py"
    script.write_text(f"from harmonylib.classroom.repertoire import survey\nsurvey({str(OWN)!r}, jobs=1)\n")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=False, timeout=30)
    assert done.returncode == 1
    assert 'call survey under if __name__ == "__main__"' in done.stderr.splitlines()[-1]


def test_a_second_run_computes_nothing(
    folder: Path, found: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = counted(monkeypatch)
    assert quick(folder, tmp_path) == found
    assert len(seen) == 6 + len(BAD)
    stored = (tmp_path / STORE).read_bytes()
    seen.clear()
    again = quick(folder, tmp_path)
    assert seen == []
    assert again.computed == 0
    assert (again.rows, again.failures) == (found.rows, found.failures)
    assert (tmp_path / STORE).read_bytes() == stored


def test_a_run_that_was_cut_off_goes_on(
    folder: Path, found: Survey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick(folder, tmp_path)
    lines = (tmp_path / STORE).read_text().splitlines(keepends=True)
    (tmp_path / STORE).write_text("".join(lines[:4]) + lines[4][:60])
    seen = counted(monkeypatch)
    assert quick(folder, tmp_path).rows == found.rows
    assert len(seen) == len(lines) - 4
    assert quick(folder, tmp_path).computed == 0


@pytest.mark.slow
def test_a_killed_command_leaves_its_rows_and_no_process(tmp_path: Path) -> None:
    tune = (OWN / "lantern_on_the_landing.abc").read_text()
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "book.abc").write_text("\n\n".join(f"{tune}% {n}" for n in range(3000)))
    store = tmp_path / "out" / STORE
    command = [sys.executable, "-m", "harmonylib", "survey", str(tmp_path / "in"), "--out", str(tmp_path / "out")]
    running = subprocess.Popen([*command, "--jobs", "1"], stdout=subprocess.DEVNULL, start_new_session=True)
    until = time.monotonic() + 30
    while not (store.exists() and store.stat().st_size > 2000) and time.monotonic() < until:
        time.sleep(0.05)
    running.send_signal(signal.SIGKILL)
    running.wait()
    kept = [json.loads(line) for line in store.read_text().splitlines(keepends=True) if line.endswith("\n")]
    assert 1 <= len(kept) < 3000
    assert all(entry["row"]["title"] == "Lantern on the Landing" for entry in kept)
    while _alive(running.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert not _alive(running.pid), "no worker outlives the command"
    count = max(entry["number"] for entry in kept) + 2
    (tmp_path / "in" / "book.abc").write_text("\n\n".join(f"{tune}% {n}" for n in range(count)))
    done = quick(tmp_path / "in", tmp_path / "out")
    assert (len(done.rows), done.computed) == (count, count - len(kept))


def _alive(group: int) -> bool:
    """Whether a process of the group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_the_key_of_the_store_hangs_on_all_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A changed, a renamed and a new file each make another key; anything but code does not."""
    (tmp_path / "room").mkdir()
    (tmp_path / "room" / "one.py").write_text("ONE = 1\n")
    monkeypatch.setattr(store, "HOUSE", tmp_path)
    keys = [store.code_digest()]
    (tmp_path / "room" / "one.py").write_text("ONE = 2\n")
    keys.append(store.code_digest())
    (tmp_path / "room" / "one.py").rename(tmp_path / "room" / "two.py")
    keys.append(store.code_digest())
    (tmp_path / "new.py").write_text("")
    keys.append(store.code_digest())
    assert len(set(keys)) == 4
    (tmp_path / "notes.txt").write_text("no code")
    assert store.code_digest() == keys[-1]
    assert (HOUSE / "arranging" / "costs.py").is_file(), "the real one is this package"


def test_only_what_changed_is_done_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    inside = tmp_path / "in"
    inside.mkdir()
    for path in (*OWN.glob("*.abc"), BOOK):
        shutil.copy(path, inside)
    before = quick(inside, tmp_path)
    book = inside / BOOK.name
    book.write_text(book.read_text().replace("T:Little Czech Number", "T:Another Name"))
    seen = counted(monkeypatch)
    after = quick(inside, tmp_path)
    assert seen == [f"{BOOK.name} 2"]
    assert {row.title for row in after.rows} - {row.title for row in before.rows} == {"Another Name"}
    seen.clear()
    assert quick(inside, tmp_path, neck=Neck(reach_mm=90)).computed == len(seen) == 4, "other settings, other figures"
    monkeypatch.setattr(repertoire, "code_digest", lambda: "a later edition")
    assert quick(inside, tmp_path).computed == 4, "other code, other figures"


# --- books and the command ----------------------------------------------------------------------------------------


def test_a_book_is_counted_and_taken_apart_without_a_loss(tmp_path: Path) -> None:
    assert count_tunes(BOOK) == 2
    assert count_tunes(GOOD[2]) == 1
    with pytest.raises(HarmonyError, match="was not found"):
        count_tunes(tmp_path / "none.abc")
    shared = tmp_path / "shared.abc"
    shared.write_bytes(b"M:3/4\nL:1/4\n%%propagate-accidentals pitch\n" + BOOK.read_bytes().replace(b"M:4/4", b"% M"))
    for book in (BOOK, shared):
        for number, data in enumerate(tunes_in(book), 1):
            alone = tmp_path / f"alone {number}.abc"
            alone.write_bytes(data)
            assert read(alone) == read(book, number)
    assert read(shared).bars[1].metre == (3, 4)
    assert read(BOOK).bars[1].length == Fraction(4)


def test_the_command(folder: Path, found: Survey, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with ThreadPoolExecutor(1) as executor:
        survey(folder, tmp_path / "out", executor=executor)  # the command finds these rows
    assert main(["survey", str(folder), "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert told.out.startswith(found.text.rstrip())
    assert f"12 tunes, 12 of them known from before, {len(BAD)} not surveyed." in told.out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {STORE, "survey.csv", "survey.pdf", "survey.svg"}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["{tmp}/none"], "is not a folder"),
        (["{tmp}"], "no tunes in"),
        ([str(OWN), "--reach", "5"], "a hand reaches between 20 and 250 mm"),
        ([str(OWN), "--frets", "99"], "a neck here has 1 to 22"),
        ([str(OWN), "--tempo", "nan"], "choose 10 to 600"),
        ([str(OWN), "--jobs", "0"], "choose 1 or more"),
        ([str(OWN), "--out", "{tmp}/file"], "cannot be written to"),
    ],
)
def test_what_cannot_serve_gets_one_line_and_code_2(
    arguments: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("mine")
    given = [argument.replace("{tmp}", str(tmp_path)) for argument in arguments]
    extra = [] if "--out" in given else ["--out", str(tmp_path / "out")]
    assert main(["survey", *given, *extra]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("harmonylib: ")
    assert said.err.count("\n") == 1
    assert told in said.err
    assert not (tmp_path / "out").exists()
    assert (tmp_path / "file").read_text() == "mine"


def test_a_folder_of_bad_files_lists_them_and_refuses(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "noise.mxl").write_bytes(BAD["noise.mxl"])
    with ThreadPoolExecutor(1) as executor:
        survey(tmp_path, tmp_path / "out", executor=executor)
    assert main(["survey", str(tmp_path), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr()
    assert "noise.mxl: " in said.out
    assert "no tune in" in said.err
