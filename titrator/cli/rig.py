"""`titrator rig`: the boards at this computer's ports, and the simulated board served like one of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import DONE, NOT_DONE, Failure, input_errors
from titrator.cli.finite import FiniteRange
from titrator.cli.rig_by_hand import amplifier, home, move, read, watch

if TYPE_CHECKING:
    from titrator.bench.rig import LinkSection, Rig


@click.group()
def rig() -> None:
    """Find boards, look at one, use one by hand, or serve the simulated one."""


for by_hand in (move, home, read, watch, amplifier):
    rig.add_command(by_hand)


@rig.command("list")
@click.argument("ports", metavar="[PORT]...", nargs=-1)
@click.option("--baud", type=click.IntRange(min=1), default=115200, show_default=True, help="Speed of serial lines.")
@click.option(
    "--wait", "wait_s", type=FiniteRange(min=0.25, max=60), default=3.0, show_default=True,
    help="Seconds that a board may take to answer: opening a port restarts some boards.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def list_boards(ctx: click.Context, ports: tuple[str, ...], baud: int, wait_s: float, as_json: bool) -> None:
    """List the boards that answer at PORT (default: all ports, and the usual address of a served board).

    Nothing on a board changes, but every port is opened and sent a question, which may disturb what is no
    board of ours.
    Exit status 1 when none answers.
    """
    from titrator.bench.errors import BenchError
    from titrator.bench.port import in_few_words, known_ports, survey
    from titrator.cli.board_view import board_document, board_line

    boards, others = [], []
    for port, came in survey(ports or known_ports(), baud, _times(wait_s)):
        if isinstance(came, BenchError):
            others.append({"port": port, "problem": in_few_words(came)})
            if not as_json:
                click.echo(f"-         {port}: {in_few_words(came)}")
        else:
            boards.append(board_document(came))
            if not as_json:
                click.echo(board_line(boards[-1]))
    if as_json:
        _print_json({"boards": boards, "others": others})
    elif not boards:
        click.echo("No board answered. Plug one in and switch it on, or start `titrator rig serve`.", err=True)
    ctx.exit(DONE if boards else NOT_DONE)


@rig.command()
@click.argument("port_or_rig", metavar="PORT-or-RIG")
@click.option("--baud", type=click.IntRange(min=1), default=115200, show_default=True, help="Speed of a serial PORT.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
def show(port_or_rig: str, baud: int, as_json: bool) -> None:
    """Look at one board: at PORT, such as /dev/ttyACM0 or socket://127.0.0.1:4717, or the one of the rig file RIG.

    Nothing on the board changes. Of a rig file it is also checked whether the board is the one that it describes.
    """
    from titrator.bench.errors import BenchError
    from titrator.cli.board_view import board_document, board_lines, status_document

    with input_errors():
        file = _rig_file(port_or_rig)
    try:
        found, status, misfit = _look_at(file, port_or_rig, baud)
    except BenchError as error:
        raise Failure(str(error), NOT_DONE) from error
    document = {
        **board_document(found),
        **status_document(status),
        "rig": file.name if file else None,
        "misfit": misfit,
    }
    if not as_json:
        for line in board_lines(document):
            click.echo(line)
    if misfit is not None:
        raise Failure(misfit, NOT_DONE, document)
    if as_json:
        _print_json(document)


@rig.command()
@click.option("--method", type=click.Path(path_type=Path), required=True, help="Method whose sample is in the vessel.")
@click.option("--rig", "rig_path", type=click.Path(path_type=Path), help="Rig file instead of the method's own.")
@click.option("--cell", type=click.Path(path_type=Path), help="Cell file instead of the method's own.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of every random draw.")
@click.option(
    "--port", type=click.IntRange(0, 65535), help="TCP port, 0 for any free one (default: the rig's, or 4717)."
)
@click.option("--pty", is_flag=True, help="Serve on a pseudo terminal instead, a device as a serial port is one.")
@click.option("--link", type=click.Path(path_type=Path), help="Make this symbolic link to the pseudo terminal.")
@click.option("--once", is_flag=True, help="End when the first host that opened a session has gone.")
@click.option(
    "--speed",
    type=click.IntRange(1, 200),
    default=1,
    show_default=True,
    help="Run the board's clock so many times faster.",
)
@click.option(
    "--check-box", "check_box_mV", type=FiniteRange(), help="Serve sources of so many mV in place of the cell."
)
@click.option("--truth", type=click.Path(path_type=Path), help="At the end, write there what was true (JSON).")
@click.option("--json", "as_json", is_flag=True, help="Tell the address as one JSON document on standard output.")
def serve(**options: Any) -> None:
    """Serve the simulated board in real time, for one host at a time, until Ctrl-C.

    The cell is drawn as for a dry run of the method. The board keeps position, doses and session when a host goes, and
    goes on with the same cell for the next one. Only programs on this computer can reach it.
    """
    import json
    import signal

    with input_errors():
        served = _served(options)
    ends = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    before = {number: signal.signal(number, lambda _n, _f: served.stop()) for number in ends}
    try:
        told = {
            "address": served.address,
            "identity": f"{served.identity:08x}",
            "simulated": True,
            "seed": options["seed"],
        }
        if options["as_json"]:
            click.echo(json.dumps(told))  # on one line, for who reads it while we go on
        else:
            click.echo(
                f"Simulated board {told['identity']} serves at {served.address}, one host at a time. Ctrl-C ends it."
            )
        served.run(once=options["once"])
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if options["truth"] is not None:
        try:
            options["truth"].write_text(json.dumps(served.truth(), indent=2) + "\n", encoding="utf-8")
        except OSError as error:
            raise Failure(f"{options['truth']}: expected to write the truth there, got: {error}", NOT_DONE) from error


def _served(options: dict[str, Any]) -> Any:
    from titrator.bench.rig import load_rig
    from titrator.bench.simulated import Place, serve_simulated
    from titrator.method import load_method
    from titrator.run.rehearsal import stated_values

    if options["pty"] and options["port"] is not None:
        raise Failure("expected one of --port and --pty, got both")
    if options["link"] is not None and not options["pty"]:
        raise Failure("--link: expected only with --pty; an address needs no link")
    method = load_method(options["method"])
    loaded = load_rig(_chosen("rig", options["rig_path"], method.rehearsal.rig, options["method"]))
    cell_path = _chosen("cell", options["cell"], method.rehearsal.cell, options["method"])
    place = Place(None if options["pty"] else _tcp_port(options["port"], loaded), options["link"])
    where = (
        f"socket://127.0.0.1:{place.tcp_port}" if place.tcp_port is not None else str(place.link or "a pseudo terminal")
    )
    try:
        return serve_simulated(
            loaded,
            cell_path,
            stated_values(method),
            options["seed"],
            place=place,
            speed=options["speed"],
            check_box_mV=options["check_box_mV"],
        )
    except (OSError, ImportError) as error:
        raise Failure(
            f"{where}: expected to serve there, got: {error}. Choose another place with --port N (0 for any free one) "
            f"or --pty",
            NOT_DONE,
        ) from error


def _chosen(what: str, given: Path | None, own: Path | None, method: Path) -> Path:
    path = given or own
    if path is None:
        raise Failure(f"{method}: expected the {what} under `rehearsal:` or --{what} FILE, got neither")
    return path


def _tcp_port(wanted: int | None, loaded: Rig) -> int:
    from titrator.bench.port import SERVED_PORT

    if wanted is not None:
        return wanted
    host, _, port = (loaded.board.port if loaded.board else "").removeprefix("socket://").rpartition(":")
    return int(port) if host in {"127.0.0.1", "localhost"} else SERVED_PORT


def _rig_file(port_or_rig: str) -> Rig | None:
    """The rig file, if it is one: whatever is a plain file, or is called like one."""
    path = Path(port_or_rig)
    if "://" in port_or_rig or not (path.is_file() or path.suffix in {".yaml", ".yml"}):
        return None
    from titrator.bench.rig import load_rig

    return load_rig(path)


def _look_at(file: Rig | None, port: str, baud: int) -> tuple[Any, Any, str | None]:
    """Who answered, where it stands, and why it is not the rig file's board after all."""
    from titrator.bench.bench import Bench
    from titrator.bench.errors import RigMismatchError
    from titrator.bench.port import ask_status, greet, open_board

    if file is None:
        link = _times(5.0)
        transport, found = greet(port, baud, link)
        try:
            return found, ask_status(transport, link), None
        finally:
            transport.close()
    transport, found = open_board(file)
    bench = Bench(transport, file)
    try:
        status = ask_status(transport, file.link)
        try:
            bench.connect()
        except RigMismatchError as error:
            return found, status, str(error)
        return found, status, None
    finally:
        bench.close()


def _times(wait_s: float) -> LinkSection:
    from titrator.bench.rig import LinkSection

    return LinkSection.model_validate({"starts_within": f"{wait_s} s"})


def _print_json(document: dict[str, Any]) -> None:
    from titrator.cli.output import print_json

    print_json(document)
