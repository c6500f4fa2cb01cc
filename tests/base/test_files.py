"""Files whole or absent, hashes, and names that lead out of the folder."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.files import (
    atomic_path,
    hash_of,
    inside,
    package_hash,
    sha256_of,
    write_bytes,
    write_json,
    write_text,
)
from sitekit.errors import FileFault


def test_an_error_on_the_way_leaves_the_older_file_whole(tmp_path):
    """Half a file under the right name."""
    target = tmp_path / "plan.txt"
    write_text(target, "old")

    def write_half():
        with atomic_path(target) as beside:
            beside.write_text("half")
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError, match="power cut"):
        write_half()
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["plan.txt"]


def test_the_name_written_to_keeps_the_suffix(tmp_path):
    """A driver chosen by a suffix such as .tmp."""
    with atomic_path(tmp_path / "deep" / "a.tif") as beside:
        assert beside.suffix == ".tif"
        assert beside.parent == tmp_path / "deep"
        beside.write_bytes(b"x")
    assert (tmp_path / "deep" / "a.tif").read_bytes() == b"x"


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    """A program's own message in place of advice."""
    (tmp_path / "out").write_text("I am a file")
    with pytest.raises(FileFault, match=r"cannot be written .*the older file is untouched"):
        write_bytes(tmp_path / "out" / "map.html", b"")


def test_line_ends_and_order_of_keys_are_fixed(tmp_path):
    """Files that differ between systems or runs."""
    write_json(tmp_path / "a.json", {"b": 1, "a": "é"})
    assert (tmp_path / "a.json").read_bytes() == '{\n "a": "é",\n "b": 1\n}\n'.encode()


def test_a_number_that_json_cannot_say_is_refused(tmp_path):
    """NaN in a file that other programs must read."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(tmp_path / "a.json", {"a": float("nan")})
    assert not (tmp_path / "a.json").exists()


@pytest.mark.parametrize(
    ("data", "digest"),
    [
        # FIPS 180-2 example B.1 ("abc"); the empty message is recalled, unverified
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    ],
    ids=["abc", "empty"],
)
def test_printed_digests_come_out(tmp_path, data, digest):
    """Another hash, or text mode."""
    (tmp_path / "f").write_bytes(data)
    assert sha256_of(tmp_path / "f") == digest


def test_a_file_longer_than_one_piece_is_hashed_whole(tmp_path):
    """Only the first piece of 1 MiB counted."""
    data = bytes(range(256)) * 5000
    (tmp_path / "f").write_bytes(data)
    assert sha256_of(tmp_path / "f") == hashlib.sha256(data).hexdigest()


def test_a_missing_file_is_refused_by_name(tmp_path):
    """A digest of nothing."""
    with pytest.raises(FileFault, match=r"none\.tif: cannot be read"):
        sha256_of(tmp_path / "none.tif")


@given(st.dictionaries(st.text(), st.integers() | st.text() | st.booleans()))
def test_the_order_of_keys_does_not_change_the_hash(value):
    """A stage run again because a mapping was built in another order."""
    assert hash_of(value) == hash_of(dict(reversed(value.items())))
    assert hash_of(value) != hash_of({**value, "one more": 0.5})


@pytest.mark.parametrize("name", ["../secret.tif", "/etc/hosts", "layers/../../x.csv"])
def test_a_name_that_leads_out_of_the_folder_is_refused(tmp_path, name):
    """A project that reads what lies elsewhere, and does not run on another computer."""
    with pytest.raises(FileFault, match=r"leads outside the project folder; due: a path below .*Copy the file in"):
        inside(tmp_path, name)


def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path):
    """A way out through a link."""
    project, other = tmp_path / "project", tmp_path / "other"
    project.mkdir()
    other.mkdir()
    (project / "link").symlink_to(other)
    with pytest.raises(FileFault, match="leads outside the project folder"):
        inside(project, "link/x.csv")


def test_a_name_inside_is_returned_whole(tmp_path):
    """A harmless dot taken for a way out."""
    assert inside(tmp_path, "layers/./a..b.tif") == tmp_path.resolve() / "layers" / "a..b.tif"


def test_hash_of_the_package_is_short_and_steady():
    """A hash that takes in the clock or compiled files."""
    assert package_hash() == package_hash()
    assert len(package_hash()) == 16
    int(package_hash(), 16)
