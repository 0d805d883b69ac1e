"""A process that shuts itself in: from then on it opens no file, no connection and no program.

On Linux a filter of the kernel lets the few calls through that computing needs and refuses all others: what
is not named is not allowed, so the list does not age. It holds for every thread and cannot be taken off.

References
----------
Linux man-pages 6, seccomp(2), prctl(2); struct sock_filter of linux/filter.h; syscall tables of x86-64 and of
the generic table that arm64 uses.
"""

import ctypes
import os
import platform
import socket
import struct
import sys

_NO_NEW_PRIVILEGES = 38
_SET_FILTER, _ALL_THREADS = 1, 1
_LOAD, _EQUAL, _RETURN = 0x20, 0x15, 0x06
_ALLOW, _REFUSE = 0x7FFF_0000, 0x0005_0000 | 1  # refused with EPERM
_NUMBER_AT, _MACHINE_AT = 0, 4  # places in struct seccomp_data

# name: number on x86-64, on arm64 (None: that machine has no such call). Reading and writing what is open,
# memory, threads that run already, clocks, asking about files without opening them, ending.
_CALLS: dict[str, tuple[int, int | None]] = {
    "read": (0, 63),
    "write": (1, 64),
    "readv": (19, 65),
    "writev": (20, 66),
    "pread64": (17, 67),
    "lseek": (8, 62),
    "close": (3, 57),
    "fcntl": (72, 25),
    "fstat": (5, 80),
    "stat": (4, None),
    "lstat": (6, None),
    "access": (21, None),
    "newfstatat": (262, 79),
    "faccessat": (269, 48),
    "faccessat2": (439, 439),
    "getcwd": (79, 17),
    "mmap": (9, 222),
    "munmap": (11, 215),
    "mprotect": (10, 226),
    "mremap": (25, 216),
    "madvise": (28, 233),
    "brk": (12, 214),
    "futex": (202, 98),
    "rt_sigaction": (13, 134),
    "rt_sigprocmask": (14, 135),
    "rt_sigreturn": (15, 139),
    "sigaltstack": (131, 132),
    "sched_yield": (24, 124),
    "sched_getaffinity": (204, 123),
    "getpid": (39, 172),
    "gettid": (186, 178),
    "geteuid": (107, 175),
    "getrandom": (318, 278),
    "clock_gettime": (228, 113),
    "clock_nanosleep": (230, 115),
    "gettimeofday": (96, 169),
    "nanosleep": (35, 101),
    "getrusage": (98, 165),
    "exit": (60, 93),
    "exit_group": (231, 94),
}
# machine as platform says it: column above, its number in the kernel's audit.h, number of the call seccomp
_MACHINES = {"x86_64": (0, 0xC000_003E, 317), "aarch64": (1, 0xC000_00B7, 277)}


class NotShutIn(Exception):
    """The fence cannot be put up here, or does not hold."""


def is_offered() -> bool:
    """Return whether this kind of computer has such a fence."""
    return sys.platform == "linux" and platform.machine() in _MACHINES


def shut_in() -> None:
    """Refuse every call that is not on the list, from here to the end of the process, and try that it holds.

    Raises
    ------
    NotShutIn
        If the kernel does not do it.
    """
    column, machine, seccomp = _MACHINES[platform.machine()]
    numbers = [number for call in _CALLS.values() if (number := call[column]) is not None]
    program = _program(numbers, machine)
    steps = ctypes.create_string_buffer(program, len(program))
    pointer = ctypes.cast(steps, ctypes.c_void_p).value or 0
    filter_ = struct.pack("@HxxxxxxQ", len(program) // 8, pointer)
    kernel = ctypes.CDLL(None, use_errno=True)
    zeros = (ctypes.c_ulong(0),) * 3
    if kernel.prctl(ctypes.c_int(_NO_NEW_PRIVILEGES), ctypes.c_ulong(1), *zeros) != 0:
        raise NotShutIn(os.strerror(ctypes.get_errno()))
    done = kernel.syscall(
        ctypes.c_long(seccomp), ctypes.c_ulong(_SET_FILTER), ctypes.c_ulong(_ALL_THREADS), filter_
    )
    if done != 0:
        raise NotShutIn(os.strerror(ctypes.get_errno()))
    _require_held()


def _program(numbers: list[int], machine: int) -> bytes:
    """Return the filter: another machine's calls are refused, then what is not on the list."""
    count = len(numbers)
    steps = [
        (_LOAD, 0, 0, _MACHINE_AT),
        (_EQUAL, 0, count + 1, machine),
        (_LOAD, 0, 0, _NUMBER_AT),
        *((_EQUAL, count - place, 0, number) for place, number in enumerate(numbers)),
        (_RETURN, 0, 0, _REFUSE),
        (_RETURN, 0, 0, _ALLOW),
    ]
    return b"".join(struct.pack("@HBBI", *step) for step in steps)


def _require_held() -> None:
    for attempt in (_open_a_file, _open_a_connection, _open_a_program):
        try:
            attempt()
        except OSError:
            continue
        raise NotShutIn(f"{attempt.__name__} went through")


def _open_a_file() -> None:
    os.close(os.open("/", os.O_RDONLY))


def _open_a_connection() -> None:
    socket.socket(socket.AF_INET, socket.SOCK_STREAM).close()


def _open_a_program() -> None:
    if os.fork() == 0:
        os._exit(0)
