"""The process that reads one file and can do nothing else: ``python -I -m service.intake.closed_reading``.

The file comes in as standard input, already open; the table leaves by standard output. Between loading its
libraries and looking at the first byte the process limits its memory, time and output and shuts itself in.
"""

import errno
import sys
from collections.abc import Callable, Sequence

import orjson

from service.errors import Ask, InvalidRequest, Unreadable
from service.intake import syscall_fence
from service.intake.plain_table import PlainTable, write_table

if sys.platform != "win32":
    import resource

NOT_SHUT_IN, TOO_LARGE = 3, 4  # what the process ends with
_Reader = Callable[[bytes, str | None], PlainTable]


def main(arguments: Sequence[str]) -> int:
    """Read the file at standard input; ``arguments`` are its form, the layer or nothing, and the limits.

    The limits are seconds of computing, MB of memory and MB of output.
    """
    form, layer, seconds, memory_mb, output_mb = arguments
    read = _reader(form)
    _limit(int(seconds), int(memory_mb) << 20, int(output_mb) << 20)
    if syscall_fence.is_offered():
        try:
            syscall_fence.shut_in()
        except syscall_fence.NotShutIn:
            return NOT_SHUT_IN
    try:
        write_table(read(sys.stdin.buffer.read(), layer or None), sys.stdout.buffer)
        sys.stdout.buffer.flush()
    except Ask as ask:
        _answer({"ask": [ask.option, ask.choices, ask.because]})
    except Unreadable as wrong:
        _answer({"unreadable": str(wrong)})
    except InvalidRequest as wrong:
        _answer({"invalid": wrong.faults})
    except MemoryError:
        return TOO_LARGE
    except OSError as wrong:
        if wrong.errno == errno.EFBIG:
            return TOO_LARGE
        raise
    return 0


def _answer(said: dict[str, object]) -> None:
    sys.stdout.buffer.write(orjson.dumps(said, option=orjson.OPT_APPEND_NEWLINE))
    sys.stdout.buffer.flush()


def _reader(form: str) -> _Reader:
    """Return the reader of a form, with all that it needs loaded; the list of forms is closed."""
    if form in ("kml", "kmz"):
        from service.intake import charsets, kml_file

        charsets.ready()
        return kml_file.read_kml if form == "kml" else kml_file.read_kmz
    from service.intake import crs_said

    crs_said.ready()
    if form == "flatgeobuf":
        from service.intake.flatgeobuf_file import read_flatgeobuf

        return read_flatgeobuf
    if form == "geoparquet":
        from service.intake import geoparquet_file

        geoparquet_file.ready()
        return geoparquet_file.read_geoparquet
    if form == "shapefile":
        from service.intake import charsets, shapefile_zip

        charsets.ready()
        return shapefile_zip.read_shapefile
    raise ValueError(form)


def _limit(seconds: int, memory: int, output: int) -> None:
    """Limit what the process may use, where the system can: seconds of computing, bytes of all else."""
    if sys.platform != "win32":
        for what, most in (
            (resource.RLIMIT_CPU, seconds),
            (resource.RLIMIT_AS, memory),
            (resource.RLIMIT_FSIZE, output),
            (resource.RLIMIT_NOFILE, 16),
            (resource.RLIMIT_CORE, 0),
        ):
            resource.setrlimit(what, (most, most))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
