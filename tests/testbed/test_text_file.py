"""Small text files, and what is none."""

import os
from pathlib import Path

import pytest

from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.text_file import read_text_file


def refusal(file: Path) -> str:
    with pytest.raises(ComplaintsError) as caught:
        read_text_file(file)
    return str(caught.value).replace(str(file), "FILE")


def test_the_sum_is_that_of_the_octets_in_the_file(tmp_path: Path) -> None:
    """FIPS 180-4: the SHA-256 of "abc"."""
    (tmp_path / "a").write_bytes(b"abc")
    source = read_text_file(tmp_path / "a")
    assert source.text == "abc"
    assert source.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_byte_order_mark_is_not_part_of_the_text(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"\xef\xbb\xbfkey: 1\n")
    assert read_text_file(tmp_path / "a").text == "key: 1\n"


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    assert refusal(tmp_path) == "FILE: this is a folder\n  fix: name one YAML file in it"


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    assert refusal(tmp_path / "a") == "FILE: there is no such file\n  fix: correct the path"


def test_a_pipe_is_refused_and_does_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a")
    assert refusal(tmp_path / "a") == (
        "FILE: this is not a regular file\n  fix: name a YAML file on disk"
    )


def test_a_file_that_cannot_be_reached_says_why(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "a")
    assert refusal(tmp_path / "a") == (
        "FILE: the file cannot be read: too many levels of symbolic links\n"
        "  fix: check the path and its permissions"
    )


def test_a_path_through_a_file_says_why(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    assert "the file cannot be read: not a directory" in refusal(tmp_path / "a" / "b")


@pytest.mark.parametrize("content", [b"", b"\n \n"])
def test_an_empty_file_says_what_to_do(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a").write_bytes(content)
    assert refusal(tmp_path / "a") == (
        "FILE: the file is empty\n  fix: copy one of the example files and change it"
    )


def test_a_file_of_50_megabytes_is_refused_by_its_size(tmp_path: Path) -> None:
    with (tmp_path / "a").open("wb") as stream:
        stream.truncate(50_000_000)
    assert refusal(tmp_path / "a") == (
        "FILE: the file is too large: more than 1048576 octets\n"
        "  fix: name a YAML file; a testbed, a case or a manifest is a page or two"
    )


def test_one_mebibyte_is_read_and_one_octet_more_is_not(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"#" * 1_048_576)
    assert len(read_text_file(tmp_path / "a").text) == 1_048_576
    (tmp_path / "a").write_bytes(b"#" * 1_048_577)
    assert "too large" in refusal(tmp_path / "a")


def test_binary_is_not_text(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"\x7fELF\x02\x01\x01\x00")
    assert refusal(tmp_path / "a") == (
        "FILE: the file is not text\n  fix: name a YAML file, saved as UTF-8"
    )


def test_an_octet_that_is_not_utf_8_has_a_place(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"maker: x\nmodel: caf\xe9\n")
    assert refusal(tmp_path / "a") == (
        "FILE:2:11: octet 0xe9 is not UTF-8\n  fix: save the file as UTF-8"
    )
