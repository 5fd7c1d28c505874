"""Nothing leaves the computer: the whole main job without a network, and watched by the system itself.

Real recogniser, real processes. What is seen is every network call of every process (strace(1), `-f`), by the
kernel's own account; the first test shows that nothing is missing without one.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

JOB = Path(__file__).with_name("whole_job.py")
ALONE = ["unshare", "--user", "--map-root-user", "--net"]

_CALL = re.compile(r"\b(connect|bind|sendto|sendmsg|sendmmsg)\(")
_FAMILY = re.compile(r"sa_family=(AF_\w+)")
_ADDRESS = re.compile(r'inet_addr\("([^"]*)"\)|inet_pton\(AF_INET6, "([^"]*)"')
_ON_THIS_COMPUTER = ("AF_UNIX", "AF_NETLINK", "AF_UNSPEC")
"""Sockets that lead to processes here or to the kernel (unix(7), netlink(7)); AF_UNSPEC ends an association."""


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, check=False)


def _allowed(*command: str) -> bool:
    return bool(shutil.which(command[0])) and _run(*command, "true").returncode == 0


@pytest.mark.recogniser
@pytest.mark.skipif(not _allowed(*ALONE), reason="this system lets nobody make a network namespace (unshare)")
def test_the_whole_job_is_done_without_a_network(tmp_path: Path) -> None:
    interfaces = _run(*ALONE, "cat", "/proc/net/dev")
    assert [line.split(":")[0].strip() for line in interfaces.stdout.splitlines()[2:]] == ["lo"]
    done = _run(*ALONE, sys.executable, str(JOB), str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert done.stdout == "all done\n"


@pytest.mark.recogniser
@pytest.mark.skipif(
    not _allowed("strace", "-o", "/dev/null"), reason="no strace here, or it is not allowed to trace"
)
def test_no_call_leads_to_another_computer(tmp_path: Path) -> None:
    seen = tmp_path / "calls"
    watched = ["strace", "-f", "--seccomp-bpf", "-qq", "-e", "trace=network", "-o", str(seen)]
    done = _run(*watched, sys.executable, str(JOB), str(tmp_path))
    assert done.returncode == 0, done.stderr
    calls = seen.read_text(errors="replace")
    assert "127.0.0.1" in calls  # the desk's own: so the watching works
    assert list(_elsewhere(calls)) == []


@pytest.mark.parametrize(
    ("call", "leads"),
    [
        ('7 connect(3, {sa_family=AF_INET, sin_port=htons(443), sin_addr=inet_addr("192.0.2.7")}, 16) = -1', True),
        ('7 connect(3, {sa_family=AF_INET, sin_port=htons(80), sin_addr=inet_addr("127.0.0.1")}, 16) = 0', False),
        ('7 bind(3, {sa_family=AF_INET, sin_port=htons(0), sin_addr=inet_addr("0.0.0.0")}, 16) = 0', True),
        ('7 sendto(3, "x", 1, 0, {sa_family=AF_INET6, inet_pton(AF_INET6, "2001:db8::1", &sin6_addr)}, 28) = 1', True),
        ('7 connect(3, {sa_family=AF_INET6, inet_pton(AF_INET6, "::1", &sin6_addr)}, 28) = 0', False),
        ('7 connect(3, {sa_family=AF_UNIX, sun_path="/run/x"}, 110) = 0', False),
        ('7 sendto(3, "GET /", 5, 0, NULL, 0) = 5', False),
        ("7 connect(3, {sa_family=AF_BLUETOOTH}, 8) = 0", True),
    ],
)  # fmt: skip
def test_what_counts_as_elsewhere(call: str, leads: bool) -> None:
    """Calls as strace prints them; addresses that RFC 5737 and RFC 3849 keep for examples."""
    assert bool(list(_elsewhere(call))) == leads


def _elsewhere(calls: str) -> Iterator[str]:
    """The calls that name an address which is not this computer's own."""
    for line in calls.splitlines():
        family = _FAMILY.search(line) if _CALL.search(line) else None
        if family is None or family[1] in _ON_THIS_COMPUTER:
            continue
        found = _ADDRESS.search(line)
        address = (found[1] or found[2]) if found else ""
        if not (address.startswith("127.") or address == "::1"):
            yield line
