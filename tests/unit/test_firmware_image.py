"""The image for the smallest board: small sources that still mean the same, in a file system that reads back."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.boards import microbit_image as microbit

NO_FLASH, LAST = ":020000041000EA", ":00000001FF"
INTERPRETER = "\n".join([microbit._record(4, 0, b"\0\0"), microbit._record(0, 0, bytes(16)), NO_FLASH, LAST])


def read_back(data: bytes) -> dict[str, bytes]:
    """The files in a flash, as the interpreter finds them."""
    chunks = [data[at : at + microbit.CHUNK] for at in range(0, len(data), microbit.CHUNK)]
    files = {}
    for first, chunk in enumerate(chunks, 1):
        if chunk[0] != microbit.FILE_MARK:
            continue
        end, text, number = chunk[1], chunk[2:-1], first
        while chunks[number - 1][-1] != 0xFF:
            before, number = number, chunks[number - 1][-1]
            assert chunks[number - 1][0] == before
            text += chunks[number - 1][1:-1]
        whole = text[: len(text) - (microbit.CHUNK - 2 - end)]
        files[whole[1 : 1 + whole[0]].decode()] = whole[1 + whole[0] :]
    return files


@settings(max_examples=300)
@given(st.dictionaries(st.text("abcxyz.", min_size=1, max_size=12), st.binary(max_size=600), max_size=4))
def test_files_read_back(files: dict[str, bytes]) -> None:
    assert read_back(microbit.file_system(files)) == files


@pytest.mark.parametrize("size", range(110, 260))
def test_files_of_every_length_about_a_chunk_read_back(size: int) -> None:
    files = {"main.py": b"x" * size, "b": b"y"}
    assert read_back(microbit.file_system(files)) == files


def test_records_have_their_checksum_and_lie_behind_the_interpreter() -> None:
    lines = microbit.image(INTERPRETER, {"main.py": b"pass"}).splitlines()
    for line in lines:
        assert sum(bytes.fromhex(line[1:])) & 0xFF == 0
    addresses = [int(line[3:7], 16) for line in lines if line[7:9] == "00" and len(line) > 40]
    assert addresses[:3] == [0, microbit.PAGE, microbit.PAGE + 16]
    assert all(later > earlier for earlier, later in pairwise(addresses[:100]))
    assert lines[-1] == ":00000001FF"


@pytest.mark.parametrize("size", [32_000, 300_000])
def test_too_many_files_are_refused(size: int) -> None:
    with pytest.raises(ValueError, match="do not fit"):
        microbit.image(INTERPRETER, {"main.py": bytes(size)})


def test_small_text_folds_constants_and_renames_only_what_is_its_own() -> None:
    made = b"\n".join(microbit.sources().values()).decode()
    for gone in ("RESEND", "last_seq", "Ring", "acked_seq", '"""', "LONG_AGO", "unsend"):
        assert gone not in made
    for kept in ("uart.write", "gc.collect", "'utf8'", "urn:dev:mac:", "Cel"):
        assert kept in made


@pytest.mark.parametrize("piece", [name for name in microbit.sources() if name != "main.py"])
def test_every_piece_compiles(piece: str) -> None:
    compile(microbit.sources()[piece], piece, "exec")


def test_program_is_small_and_made_of_small_pieces() -> None:
    made = microbit.sources()
    assert list(made)[-1] == "main.py"
    assert max(map(len, made.values())) < 1000
    assert sum(map(len, made.values())) < 9000
