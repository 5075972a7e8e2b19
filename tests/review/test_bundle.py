"""Bundles: same bytes for same content, opened within bounds, reproduced as they are."""

import errno
import os
import shutil
import stat
import zipfile
from pathlib import Path

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.review import bundle
from lossstats.review.bundle import opened, write_bundle
from lossstats.review.reproduction import reproduce
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sealed") / "trial"
    write_trial(example_trial("one_chain"), folder)
    analyse(folder).save(folder)
    return folder


def made(path, members, **more):
    with zipfile.ZipFile(path, "w") as file:
        for name, content in members:
            entry = zipfile.ZipInfo(name)
            entry.external_attr = more.get("mode", stat.S_IFREG | 0o644) << 16
            file.writestr(entry, content)
    return path


def refused(path, match):
    with pytest.raises(ValueError, match=match), opened(path):
        pass


def test_same_bytes_for_the_same_content(sealed, tmp_path):
    one = write_bundle(sealed, tmp_path / "one.zip")
    copy = shutil.copytree(sealed, tmp_path / "trial")
    for path in copy.rglob("*"):
        os.utime(path, (1, 1))
    (copy / "private.txt").write_text("x", encoding="utf-8")
    (copy / "samples" / ".hidden").write_text("x", encoding="utf-8")
    other = write_bundle(copy, tmp_path / "other.zip")
    assert one.read_bytes() == other.read_bytes()
    with zipfile.ZipFile(one) as file:
        names = file.namelist()
        assert names == sorted(names) and "private.txt" not in names
        assert {"trial.toml", "run_sheet.csv", "results/result.json", "results/result_sheet.html"} <= set(names)
        assert file.read("samples/r01.csv") == (sealed / "samples" / "r01.csv").read_bytes()


def test_a_bundle_is_reproduced_and_leaves_nothing_behind(sealed, tmp_path, monkeypatch):
    place = tmp_path / "tmp"
    place.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(place))
    found = reproduce(write_bundle(sealed, tmp_path / "b.zip"))
    assert found.agrees and found.files == 4
    assert not list(place.iterdir())


def test_a_changed_byte_in_a_bundle_is_found(sealed, tmp_path):
    with zipfile.ZipFile(write_bundle(sealed, tmp_path / "b.zip")) as file:
        members = [(name, file.read(name)) for name in file.namelist()]
    changed = [(n, c.replace(b".1", b".2", 1) if n == "samples/r02.csv" else c) for n, c in members]
    found = reproduce(made(tmp_path / "c.zip", changed))
    assert (found.first_stage, found.departures[0].where) == ("input bytes", "samples/r02.csv")


def test_nothing_is_overwritten_and_no_draft_stays(sealed, tmp_path):
    target = tmp_path / "b.zip"
    target.write_bytes(b"mine")
    with pytest.raises(
        FileExistsError, match=r"b\.zip: found such a file; accepted: a name that is not taken \(rename"
    ):
        write_bundle(sealed, target)
    assert target.read_bytes() == b"mine" and [p.name for p in tmp_path.iterdir()] == ["b.zip"]


def test_only_a_sealed_trial_without_links_is_bundled(sealed, tmp_path):
    with pytest.raises(FileNotFoundError, match="found no sealed result"):
        write_bundle(tmp_path)
    copy = shutil.copytree(sealed, tmp_path / "trial")
    (copy / "samples" / "r01.csv").unlink()
    (copy / "samples" / "r01.csv").symlink_to(sealed / "samples" / "r01.csv")
    with pytest.raises(ValueError, match=r"samples/r01\.csv: found a symbolic link"):
        write_bundle(copy)


@pytest.mark.parametrize(
    "name",
    ["../trial.toml", "/etc/passwd", "samples/../../x.csv", "samples\\r01.csv", "results/run.py", "notes.txt", "results/a/b.json", "samples/.x", "trial.toml/"],
)  # fmt: skip
def test_names_that_no_trial_has_are_refused(tmp_path, name):
    refused(
        made(tmp_path / "b.zip", [(name, "x")]),
        "found a name that no file of a trial has; accepted: what `lossstats bundle`",
    )


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("samples/K\u00fche.csv", "samples/Ku\u0308he.csv"),  # composed and not
        ("samples/\u00c9.csv", "samples/e\u0301.csv"),  # both at once
        ("samples/stra\u00dfe.csv", "samples/STRASSE.csv"),
        ("samples/A", "samples/a/b"),
    ],
)
def test_names_that_some_file_systems_hold_for_one_are_refused(tmp_path, one, other):
    told = "found (a second member of that name|a file below another file); accepted: what `lossstats bundle` wrote"
    refused(made(tmp_path / "b.zip", [(one, "1"), (other, "2")]), told)


@pytest.mark.parametrize(
    "name",
    ["a:b.csv", "a<b", "a>b", 'a"b', "a|b", "a?.csv", "a*", "a.", "a ", "CON", "nul.csv", "Com1.tar.gz", "lpt\u00b9.x", "a./b"],
)  # fmt: skip
def test_names_that_not_every_system_can_hold_are_refused(tmp_path, name):
    """Microsoft, "Naming Files, Paths, and Namespaces"."""
    refused(
        made(tmp_path / "b.zip", [(f"samples/{name}", "x")]), "found a name that some systems cannot hold; accepted"
    )


@pytest.mark.parametrize("name", ["console.csv", "com.csv", "com10.csv", "r01.nul", "day 1/r01.csv", "a.b.csv"])
def test_names_that_only_look_like_those_are_taken(tmp_path, name):
    with opened(made(tmp_path / "b.zip", [(f"samples/{name}", "x")])) as folder:
        assert (folder / "samples" / name).read_text() == "x"


def test_a_trial_whose_names_not_every_system_can_hold_is_not_bundled(sealed, tmp_path):
    copy = shutil.copytree(sealed, tmp_path / "trial")
    (copy / "samples" / "a?.csv").write_text("x", encoding="utf-8")
    told = r"trial, file 'samples/a\?\.csv': found a name that some systems cannot hold; accepted: a name that every"
    with pytest.raises(ValueError, match=told):
        write_bundle(copy)


def test_links_repeats_sizes_and_counts_are_bounded(tmp_path, monkeypatch):
    refused(made(tmp_path / "a.zip", [("trial.toml", "/etc/passwd")], mode=stat.S_IFLNK | 0o777), "found a link")
    with pytest.warns(UserWarning, match="Duplicate name"):
        made(tmp_path / "b.zip", [("trial.toml", "1"), ("trial.toml", "2")])
    refused(tmp_path / "b.zip", "found a second member of that name")
    refused(made(tmp_path / "c.zip", [("samples/a.csv", "1"), ("samples/A.csv", "2")]), "found a second member")
    monkeypatch.setattr(bundle, "MOST_MEMBERS", 2)
    refused(
        made(tmp_path / "d.zip", [(f"samples/{i}.csv", "") for i in range(3)]), "found 3 members; accepted: at most 2"
    )
    monkeypatch.setattr(bundle, "MOST_SAMPLE_BYTES", 10)
    refused(made(tmp_path / "e.zip", [("samples/1.csv", "x" * 11)]), "found 11 bytes, where 10 are allowed")
    monkeypatch.setattr(bundle, "MOST_BYTES", 15)
    refused(made(tmp_path / "f.zip", [(f"samples/{i}.csv", "x" * 10) for i in range(2)]), "found 20 bytes in all")


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_compressed_content_is_never_unpacked(tmp_path, method):
    """Sound, spoilt, or a bomb: the kit stores only."""
    path = tmp_path / "b.zip"
    with zipfile.ZipFile(path, "w", method) as file:
        file.writestr("samples/r01.csv", b"0" * 100_000)
    refused(path, r"b\.zip, member 'samples/r01\.csv': found compressed content; accepted: what `lossstats bundle`")
    data = bytearray(path.read_bytes())
    data[50:60] = b"\xff" * 10
    path.write_bytes(data)
    refused(path, "found compressed content")


def patched(path, mark, offset, value):
    """One field of four bytes written over; offsets of APPNOTE.TXT 4.3.7 (local header) and 4.3.12 (directory)."""
    data = bytearray(path.read_bytes())
    at = data.index(mark) + offset
    data[at : at + 4] = value.to_bytes(4, "little")
    path.write_bytes(data)
    return path


LOCAL, DIRECTORY = b"PK\x03\x04", b"PK\x01\x02"
END = b"PK\x05\x06"


def test_a_spoilt_zip_file_is_told_in_words_that_name_it(tmp_path):
    told = r"b\.zip: found no readable zip file \(.*\); accepted: a file that `lossstats bundle` wrote"
    path = tmp_path / "b.zip"
    one = [("samples/r01.csv", "content")]
    refused(patched(made(path, one), LOCAL, 30 + len("samples/r01.csv"), 7), told)  # content: CRC-32
    refused(patched(made(path, one), LOCAL, 0, 7), told)  # no header where the directory says
    refused(patched(made(path, one), END, 16, 60), told)  # offset of the directory: a seek to before the beginning
    patched(made(path, one), DIRECTORY, 8, 0x0800)  # a name said to be UTF-8
    refused(patched(path, DIRECTORY, 46, 0xFFFFFFFF), told)


def test_a_member_of_another_size_than_the_directory_states_is_refused(tmp_path):
    path = made(tmp_path / "b.zip", [("samples/r01.csv", "content")])
    patched(path, LOCAL, 22, 10)
    patched(path, DIRECTORY, 24, 10)
    told = (
        r"b\.zip, member 'samples/r01\.csv': found 7 bytes, where the directory of the file states 10; accepted: that"
    )
    refused(path, told)
    patched(path, LOCAL, 22, 5)
    refused(patched(path, DIRECTORY, 24, 5), r"b\.zip.*found ")


def test_a_missing_file_a_forbidden_one_and_no_room_are_no_faults_of_the_bundle(tmp_path, monkeypatch):
    with pytest.raises(FileNotFoundError, match=r"missing\.zip"), opened(tmp_path / "missing.zip"):
        pass
    path = made(tmp_path / "b.zip", [("samples/r01.csv", "x")])

    def failing(number):
        def lay_out(*_):
            raise OSError(number, os.strerror(number))

        return lay_out

    for number, kind in ((errno.ENOSPC, OSError), (errno.EACCES, PermissionError)):
        monkeypatch.setattr(bundle, "_lay_out", failing(number))
        told = rf"found that it cannot be laid out: {os.strerror(number)}.*b\.zip"
        with pytest.raises(kind, match=told) as caught, opened(path):
            pass
        assert caught.value.errno == number


def test_names_that_cannot_lie_in_one_folder_are_refused(tmp_path):
    for members in (["samples/a", "samples/a/b"], ["samples/a/b", "samples/a"]):
        path = made(tmp_path / "b.zip", [(name, "") for name in members])
        refused(path, "member 'samples/a/b': found a file below another file; accepted: what `lossstats bundle` wrote")
    for name in ("samples/" + "x" * 300, "samples/" + "é" * 130, "samples/" + "x/" * 600 + "x"):
        refused(made(tmp_path / "b.zip", [(name, "")]), f"found a name of {len(name)} characters; accepted")
    path = made(tmp_path / "b.zip", [("samples/" + "x" * 255, "")])
    with opened(path) as folder:
        assert (folder / "samples" / ("x" * 255)).is_file()


@pytest.mark.parametrize("content", [b"", b"not a zip", b"PK\x03\x04 cut"])
def test_what_is_no_zip_file_is_refused(tmp_path, content):
    path = tmp_path / "b.zip"
    path.write_bytes(content)
    refused(path, r"b\.zip: found no readable zip file \(.*\); accepted: a file that `lossstats bundle` wrote")


def test_the_folder_inside_has_the_name_of_the_bundle(sealed, tmp_path):
    with opened(write_bundle(sealed, tmp_path / "my trial.zip")) as folder:
        assert folder.name == "my_trial"
        assert (Path(folder) / "trial.toml").is_file()
