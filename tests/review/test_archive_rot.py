"""What has changed since the pull is told by whoever reads the archive."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from pieces import header, rows_frame

from underdash.archive import checksums, rot
from underdash.archive.merge import merge
from underdash.cli.app import main
from underdash.problems import UsageError
from underdash.review import review


def board(folder: Path) -> Path:
    """Three segments as pulled, of one start of a board."""
    folder.mkdir(parents=True)
    for number in range(3):
        rows = [(1000 * (60 * number + t), 13790, 13800, 13810, 3000, 0, 0) for t in range(1, 61)]
        content = header(number, 1, 60 * number) + rows_frame(60 * number, rows)
        (folder / f"{number:08d}.seg").write_bytes(content)
        checksums.keep(folder, checksums.of(number, content))
    return folder


def test_an_archive_as_pulled_has_not_changed_nor_has_one_that_grew(tmp_path: Path) -> None:
    folder = board(tmp_path / "one")
    assert rot.since_pull(folder) == rot.since_pull(tmp_path) == []
    with (folder / "00000002.seg").open("ab") as file:
        file.write(rows_frame(180, [(181_000, 13790, 13800, 13810, 3000, 0, 0)]))
    assert rot.since_pull(folder) == []


def test_gone_cut_off_and_changed(tmp_path: Path) -> None:
    folder = board(tmp_path / "one")
    (folder / "00000000.seg").unlink()
    whole = (folder / "00000001.seg").read_bytes()
    (folder / "00000001.seg").write_bytes(whole[:-40])
    (folder / "00000002.seg").write_bytes(whole[:200] + b"x" + (folder / "00000002.seg").read_bytes()[201:])
    gone, cut, changed = rot.since_pull(folder)
    assert "00000000.seg: was pulled" in gone and gone.endswith("is gone")
    assert cut == f"00000001.seg: 40 of its {len(whole)} bytes are gone"
    assert changed == "00000002.seg: is not what was pulled"
    assert rot.since_pull(folder / "00000001.seg") == [cut]
    report, _ = review(folder)
    assert report["rotten"] == [gone, cut, changed]
    assert any(one["evidence"] == "; ".join(report["rotten"]) for one in report["findings"] if one["weight"] == "watch")


@pytest.mark.parametrize(("lines", "told"), [(1, "1 damaged line"), (2, "2 damaged lines")])
def test_damaged_checksums_are_told(tmp_path: Path, lines: int, told: str) -> None:
    folder = board(tmp_path / "one")
    listed = folder / checksums.FILE
    first = listed.read_text().splitlines()
    listed.write_text("\n".join([*(line.replace("bytes", "bites") for line in first[:lines]), *first[lines:]]) + "\n")
    report, _ = review(folder)
    said = f"checksums: {told}; whether what they told of is as it was pulled is not known"
    assert report["rotten"] == rot.since_pull(folder / "00000002.seg") == [said]
    assert [one["weight"] for one in report["findings"] if one["evidence"] == said] == ["watch"]


def test_a_folder_whose_segments_are_all_gone_is_no_folder_that_was_never_filled(tmp_path: Path) -> None:
    folder = board(tmp_path / "one")
    for path in folder.glob("*.seg"):
        path.unlink()
    with pytest.raises(UsageError, match="the segments that were pulled into this folder are gone"):
        review(folder)


def test_a_segment_in_which_nothing_can_be_read_is_not_merged(tmp_path: Path) -> None:
    folder = board(tmp_path / "from" / "one")
    (folder / "00000003.seg").write_bytes(bytes(range(250)))
    (done,) = merge(tmp_path / "into", [tmp_path / "from"])
    assert done.added == [0, 1, 2]
    assert done.refused == [
        f"{folder / '00000003.seg'}: not merged: nothing in it can be read; pull that board once more"
    ]
    (home,) = (tmp_path / "into").iterdir()
    assert sorted(path.name for path in home.glob("*.seg")) == [f"{number:08d}.seg" for number in range(3)]


def test_logs_beside_a_journal_are_told_to_be_left_out(tmp_path: Path) -> None:
    folder = board(tmp_path / "one")
    alone = CliRunner().invoke(main, ["review", str(folder)])
    assert (alone.exit_code, alone.stderr) == (0, "")
    for name in ("a.csv", "b.csv"):
        (folder / name).write_text("t_s,volts\n1,12.6\n")
    beside = CliRunner().invoke(main, ["review", str(folder)])
    assert (beside.exit_code, beside.stdout) == (0, alone.stdout)
    said = "holds a journal, and that is read; a.csv and 1 more beside it not: name logs to review them"
    assert beside.stderr == f"{folder}: {said}\n"
