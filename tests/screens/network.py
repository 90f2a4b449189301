"""Two machines on one bad network: network namespaces with a wire of our own between them.

Each namespace has a TUN device of the kernel; packets are carried from one to the other here, late
or never as `Wire` says. TCP on both sides is the kernel's own. (The kernel's netem does the same,
but is not built into every kernel.)
"""

import ctypes
import fcntl
import heapq
import os
import random
import select
import shutil
import struct
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

_TUNSETIFF, _IFF_TUN, _IFF_NO_PI = 0x400454CA, 0x0001, 0x1000  # linux/if_tun.h
_CLONE_NEWNET = 0x40000000  # sched.h
SHOP, CAB = "10.77.0.1", "10.77.0.2"
"""The server's address, and the phone's."""


@dataclass
class Wire:
    """What lies between: `loss` of packets each way, `delay_s` for each, and whether it is cut."""

    loss: float = 0.0
    delay_s: float = 0.0
    cut: bool = False
    shop: str = ""
    """The server's namespace."""
    cab: str = ""
    _ends: list[int] = field(default_factory=list)
    _over: bool = False

    def carry(self) -> None:
        """Until it is over; in a thread of its own."""
        dice, waiting = random.Random(7), []
        while not self._over:
            now = time.monotonic()
            while waiting and waiting[0][0] <= now:
                _, _, end, packet = heapq.heappop(waiting)
                if not self.cut:
                    os.write(end, packet)
            pause = min(0.05, waiting[0][0] - now) if waiting else 0.05
            for end in select.select(self._ends, [], [], max(0.0, pause))[0]:
                packet = os.read(end, 65536)
                if self.cut or dice.random() < self.loss:
                    continue
                far = self._ends[1 - self._ends.index(end)]
                at = time.monotonic() + self.delay_s
                heapq.heappush(waiting, (at, len(waiting) + now, far, packet))


def inside(space: str, work: Callable[[], Any]) -> Any:
    """Do something in a namespace: a thread goes there, and ends."""

    def there() -> Any:
        with open(f"/run/netns/{space}") as handle:
            if ctypes.CDLL(None, use_errno=True).setns(handle.fileno(), _CLONE_NEWNET):
                raise OSError(ctypes.get_errno(), "setns")
        return work()

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(there).result(30)


def _tun() -> int:
    end = os.open("/dev/net/tun", os.O_RDWR)
    fcntl.ioctl(end, _TUNSETIFF, struct.pack("16sH22x", b"wire", _IFF_TUN | _IFF_NO_PI))
    return end


def _ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True, capture_output=True, text=True, timeout=20)


@contextmanager
def wired() -> Iterator[Wire]:
    """Two namespaces and the wire; skips where they are not to be had."""
    if os.getuid() or shutil.which("ip") is None or not Path("/dev/net/tun").exists():
        pytest.skip("network namespaces want root, ip and /dev/net/tun")
    wire = Wire(shop=f"shop{os.getpid()}", cab=f"cab{os.getpid()}")
    thread = threading.Thread(target=wire.carry, daemon=True)
    try:
        for space, own in ((wire.shop, SHOP), (wire.cab, CAB)):
            try:
                _ip("netns", "add", space)
                wire._ends.append(inside(space, _tun))
            except (OSError, subprocess.CalledProcessError) as refused:
                pytest.skip(f"this system has no network namespaces: {refused}")
            _ip("-n", space, "link", "set", "lo", "up")
            _ip("-n", space, "addr", "add", f"{own}/30", "dev", "wire")
            _ip("-n", space, "link", "set", "wire", "up")
        thread.start()
        yield wire
    finally:
        wire._over = True
        if thread.is_alive():
            thread.join(5)
        for end in wire._ends:
            os.close(end)
        for space in (wire.shop, wire.cab):
            subprocess.run(["ip", "netns", "del", space], capture_output=True, timeout=20)
