"""What can be told of the lab without booting it: what it says to wrong words, and how it unpacks a kernel."""

import lzma
import subprocess
import sys
from pathlib import Path

import pytest

LAB = Path(__file__).parents[2] / "ci" / "lab"
LIMIT_S = 30.0
KERNEL = b"\x7fELF of a kernel " * 1000


def said(*words: str) -> tuple[int, str]:
    """The exit code of a command, and what it said of its trouble."""
    done = subprocess.run(words, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    return done.returncode, done.stderr


@pytest.mark.parametrize(
    ("words", "trouble"), [((), "no command given"), (("--slowly", "true"), "--slowly is no option")]
)
def test_wrong_words_are_told_with_the_right_ones(words: tuple[str, ...], trouble: str) -> None:
    code, text = said(str(LAB / "run"), *words)
    assert code == 2
    assert trouble in text
    assert "ci/lab/run [--results FOLDER] [--limit SECONDS] COMMAND" in text


def test_a_machine_without_the_programs_is_told_what_to_install() -> None:
    code, text = said(
        "env", "PATH=/nowhere", "/bin/bash", "-c", f'root=/; . "{LAB}/prepare.sh"; PATH=/nowhere; prepare_lab'
    )
    assert code == 1
    assert "not there: qemu-system-x86_64" in text
    assert "apt-get install qemu-system-x86" in text


def unpacked(packed: bytes, folder: Path) -> tuple[int, bytes]:
    source, target = folder / "vmlinuz", folder / "vmlinux"
    source.write_bytes(packed)
    code, _ = said(sys.executable, str(LAB / "unpack_kernel.py"), str(source), str(target))
    return code, target.read_bytes() if target.exists() else b""


def test_the_kernel_is_found_within_its_loader(tmp_path: Path) -> None:
    packed = b"MZ a loader \x00" * 50 + lzma.compress(KERNEL) + b"\x00a signature"
    assert unpacked(packed, tmp_path) == (0, KERNEL)


def test_a_kernel_packed_in_another_way_is_refused(tmp_path: Path) -> None:
    code, left = unpacked(b"MZ and no stream", tmp_path)
    assert code != 0
    assert left == b""
