"""The command ``serve``: open the desk on this machine, or to phones on the house's network."""

from __future__ import annotations

import ipaddress
import logging
import multiprocessing
import shutil
import socket
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

from desk.archive import default_archive_folder
from desk.say import CAUTION, quietly
from desk.shelf import default_data_folder
from desk.web.app import Desk, create_app
from desk.web.demo_evening import furnish_demo
from desk.web.guard import Door
from desk.web.sessions import SESSION_S
from scoring.errors import TallyglassError

LOOPBACK = ("127.0.0.1", "localhost", "::1")


class ServingError(TallyglassError):
    """The desk cannot be opened."""


def run_serve(data: Path | None, archive: str | None, port: int, *, lan: bool, demo: bool) -> None:
    """Serve until Ctrl-C."""
    import uvicorn

    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(message)s")
    folder = data or default_data_folder()
    kept: Path | str = archive or default_archive_folder()
    if demo:
        folder, kept = demo_places(folder, archive)
    first_things(folder)
    if demo:
        furnish_demo(folder)
    name = own_address() if lan else "127.0.0.1"
    sock = bound("0.0.0.0" if lan else "127.0.0.1", port)
    address = f"http://{name}:{sock.getsockname()[1]}"
    hosts = {*LOOPBACK, name, socket.gethostname().lower()} if lan else set(LOOPBACK)
    guarded = create_app(Desk(folder, kept, Door(frozenset(hosts), lan), address, demo=demo))
    print(*welcome(guarded, address, lan=lan), sep="\n", flush=True)
    quietly(CAUTION)
    config = uvicorn.Config(
        guarded,
        log_level="warning",
        server_header=False,
        timeout_keep_alive=20,
        h11_max_incomplete_event_size=32_000,
    )
    logging.getLogger("uvicorn.error").addFilter(no_fault_of_stopping)
    try:
        uvicorn.Server(config).run(sockets=[sock])
    finally:
        end_workers()


def no_fault_of_stopping(record: logging.LogRecord) -> bool:
    """Whether a line of the log is none that a second Ctrl-C causes, which cuts short an orderly
    end: the server then shows where each of its tasks was."""
    return "asyncio.exceptions.CancelledError" not in record.getMessage()


def end_workers() -> None:
    """End all workers at once: the next server begins their jobs anew, and some take minutes."""
    for worker in multiprocessing.active_children():
        worker.terminate()
    for thread in threading.enumerate():
        if not thread.daemon and thread is not threading.current_thread():
            thread.join(
                timeout=5
            )  # it tidies up after its workers; Python's own exit would race it


def demo_places(folder: Path, archive: str | None) -> tuple[Path, Path]:
    """A demo's own folder and archive: nothing invented ever comes among what is real."""
    if archive:
        raise ServingError("A demo has an archive of its own. Leave --archive or --demo out.")
    return folder / "demo", folder / "demo" / "archive"


def welcome(guarded: object, address: str, *, lan: bool) -> Iterator[str]:
    """What the terminal says: the address, and with ``--lan`` the code that opens it."""
    if not lan:
        yield f"The desk is open at {address} on this machine only. Stop it with Ctrl-C."
        return
    import io

    import segno

    sessions = guarded.sessions  # type: ignore[attr-defined]
    url = f"{address}/join?key={sessions.new_key(SESSION_S)}"
    out = io.StringIO()
    segno.make(url, error="m").terminal(out, compact=True)
    yield out.getvalue()
    yield f"Scan this with the host's phone, or open {url}"
    yield "It opens the desk once; further phones join from the page, Phones. Stop it with Ctrl-C."


def bound(host: str, port: int) -> socket.socket:
    """A listening socket. Raises ServingError where the port is taken."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(128)  # from here on nobody who was told the address is turned away
    except OSError as error:
        sock.close()
        reason = "is in use" if error.errno == 98 else f"cannot be used ({error.strerror})"
        raise ServingError(f"Port {port} {reason}. Choose another with --port.") from error
    return sock


def own_address() -> str:
    """This machine's address on the house's network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 1))
            address = probe.getsockname()[0]
        except OSError as error:
            raise ServingError("This machine is in no network. Serve without --lan.") from error
    if ipaddress.ip_address(address).is_global:
        print(f"Mind: {address} is a public address; anybody may knock.", file=sys.stderr)
    return address


def first_things(folder: Path) -> None:
    """The invented games' sheets, so that a table can be learned at once."""
    from desk.demo import PRACTICE, ROOM

    sheets = folder / "sheets"
    sheets.mkdir(parents=True, exist_ok=True)
    for sheet in sorted((ROOM / "sheets").glob("*.toml")):
        if not (sheets / sheet.name).exists():
            shutil.copy(sheet, sheets / sheet.name)
    plan = sheets / "penmarrow.layout.txt"
    if not plan.exists():
        shutil.copy(PRACTICE / "layout.txt", plan)
