"""The command line: parse, call, print. Heavy imports stand inside the commands."""

from __future__ import annotations

import sys
from contextlib import suppress
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated, Literal

import typer

from seatwright import __version__

app = typer.Typer(
    name="seatwright",
    help="Place an orchestra's exported stems on one stage.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SceneArgument = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).")]


def _folder(text: str) -> Path:
    if not text:
        raise typer.BadParameter("found no name, wanted a folder; this one is '.'")
    return Path(text)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"seatwright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    """Place an orchestra's exported stems on one stage."""


@app.command("render")
def render_command(
    scene: SceneArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            parser=_folder,
            metavar="FOLDER",
            help="Folder of the outputs [renders/SCENE, with seating and part].",
        ),
    ] = None,
    seating: Annotated[
        str | None, typer.Option(metavar="NAME", help="An alternative seating of the scene.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Only this section or seat; may be given again."),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option("--from", metavar="SECONDS", min=0.0, help="Begin of an excerpt."),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of an excerpt.")
    ] = None,
    stems: Annotated[bool, typer.Option("--stems", help="Also one bounce a stem.")] = False,
    perspectives: Annotated[
        bool, typer.Option("--perspectives", help="Also one bounce a perspective.")
    ] = False,
    kind: Annotated[Literal["wav", "flac"], typer.Option("--format", help="File format.")] = "wav",
    depth: Annotated[
        Literal["16", "24", "float"], typer.Option(help="Bits a sample; float has 32.")
    ] = "24",
    trim: Annotated[
        float | None,
        typer.Option(metavar="DB", help="Gain on all outputs [what keeps all below -1 dBTP]."),
    ] = None,
    threads: Annotated[
        int, typer.Option(min=0, max=256, help="0: one a processor. Never changes the sound.")
    ] = 0,
    allow_truncated: Annotated[
        bool, typer.Option("--allow-truncated", help="Take cut-off stems as far as they go.")
    ] = False,
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Accept stems outside the stems folder.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the report as JSON, not as a table.")
    ] = False,
) -> None:
    """Mix, section bounces, on request stem and perspective bounces, a report.

    Set a low monitoring level before the first listening.
    """
    from seatwright.console import progress_bar
    from seatwright.errors import printable
    from seatwright.render import default_folder, render
    from seatwright.stage.request import Request
    from seatwright.views.report import report_table

    request = Request(
        seating, tuple(only or ()), start, stop, stems, perspectives, kind, depth, trim, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    folder = out or default_folder(scene, request)
    with progress_bar() as progress:
        report = render(scene, folder, request, progress)
    typer.echo(report.as_json() if as_json else report_table(report), nl=False)
    typer.echo(f"\nwritten to {printable(str(folder))}", err=True)


@app.command("check")
def check_command(
    scene: SceneArgument,
    seating: Annotated[
        str | None, typer.Option(metavar="NAME", help="An alternative seating of the scene.")
    ] = None,
    threads: Annotated[
        int, typer.Option(min=0, max=256, help="0: one a processor. Never changes a figure.")
    ] = 0,
    allow_truncated: Annotated[
        bool, typer.Option("--allow-truncated", help="Take cut-off stems as far as they go.")
    ] = False,
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Accept stems outside the stems folder.")
    ] = False,
    headers_only: Annotated[
        bool, typer.Option("--headers-only", help="Do not listen to the stems; faster.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the figures as JSON, not as tables.")
    ] = False,
    page: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Also a page with plots that opens from disk."),
    ] = None,
) -> None:
    """Every fault of a scene and its stems at once, else each seat and the hall in figures."""
    from seatwright.check import check
    from seatwright.console import progress_bar
    from seatwright.errors import printable
    from seatwright.views.check_table import check_table

    with progress_bar() as progress:
        found = check(
            scene, seating, allow_truncated=allow_truncated, allow_outside=allow_outside,
            headers_only=headers_only, threads=threads, progress=progress, page=page,
        )  # fmt: skip
    typer.echo(found.as_json() if as_json else check_table(found), nl=False)
    if page is not None:
        typer.echo(f"\nwritten to {printable(str(page))}", err=True)


@app.command("compare")
def compare_command(
    versions: Annotated[
        list[str],
        typer.Argument(
            metavar="SCENE A B ...",
            help="A scene and its seatings ('written' is the scene without any), more scenes, "
            "ready-made mixes.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FOLDER", help="Folder of the comparison [compared/SCENE]."
        ),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option(
            "--from", metavar="SECONDS", min=0.0, help="Begin of the stretch [the loudest 75 s]."
        ),
    ] = None,
    stop: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", min=0.0, help="End of the stretch.")
    ] = None,
    title: Annotated[str, typer.Option(metavar="TEXT", help="Above the page [the scene's].")] = "",
    twin: Annotated[
        bool, typer.Option("--twin", help="Hide a second copy of the first version.")
    ] = False,
    identify: Annotated[
        int,
        typer.Option(
            metavar="TRIALS", min=0, max=100, help="Also ask which of the first two is heard."
        ),
    ] = 0,
    difference: Annotated[
        bool, typer.Option("--difference", help="Also what each version has beyond the first.")
    ] = False,
    audio: Annotated[
        Literal["flac", "vorbis"],
        typer.Option(help="What the page carries: lossless, or a third as large."),
    ] = "flac",
    sections: Annotated[
        bool, typer.Option("--sections", help="The page also plays each section alone.")
    ] = False,
    threads: Annotated[
        int, typer.Option(min=0, max=256, help="0: one a processor. Never changes the sound.")
    ] = 0,
    allow_truncated: Annotated[
        bool, typer.Option("--allow-truncated", help="Take cut-off stems as far as they go.")
    ] = False,
    allow_outside: Annotated[
        bool, typer.Option("--allow-outside", help="Accept stems outside the stems folder.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the comparison as JSON, not as tables.")
    ] = False,
) -> None:
    """Versions made equally loud, a page to hear them blind and vote, what differs between them.

    Set a low monitoring level before the first listening.
    """
    from seatwright.compare import CompareRequest, compare
    from seatwright.console import progress_bar
    from seatwright.errors import printable
    from seatwright.views.compare_table import compare_table

    request = CompareRequest(
        start, stop, title, twin, identify, difference, audio, sections, threads,
        allow_truncated, allow_outside,
    )  # fmt: skip
    folder = out or Path("compared") / (Path(versions[0]).stem or "mixes")
    with progress_bar() as progress:
        made = compare(versions, folder, request, progress)
    typer.echo(made.as_json() if as_json else compare_table(made), nl=False)
    typer.echo(f"\nwritten to {printable(str(folder))}", err=True)


@app.command("draft")
def draft_command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of stems.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="SCENE", help="Scene file [name of FOLDER.toml]."),
    ] = None,
    layout: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="violins-together, violins-divided, scoring-stage or chamber [by what is there].",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print every guess as JSON; asks nothing.")
    ] = False,
) -> None:
    """A first scene from the names of a folder of stems; a scene there already only grows."""
    from seatwright.console import asked_part
    from seatwright.drafting import draft
    from seatwright.views.draft_text import draft_report

    asks = not as_json and sys.stdin.isatty() and sys.stderr.isatty()
    scene = out or Path(folder.resolve().name + ".toml")
    drafted = draft(folder, scene, layout, asked_part) if asks else draft(folder, scene, layout)
    typer.echo(
        draft_report(
            drafted.seats,
            drafted.open_names,
            drafted.layout,
            drafted.layout_why,
            str(scene),
            drafted.kept,
            as_json,
            drafted.stems,
            drafted.refused,
            drafted.faults,
        ),
        nl=False,
    )


@app.command("plan")
def plan_command(
    scene: SceneArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="SVG or PNG, by its ending [name of SCENE.svg]."
        ),
    ] = None,
    seating: Annotated[
        str | None, typer.Option(metavar="NAME", help="An alternative seating of the scene.")
    ] = None,
    moved_from: Annotated[
        str | None,
        typer.Option(
            "--moved-from",
            metavar="NAME",
            help="Also this seating, dashed, and the moves; 'written' is the scene as written.",
        ),
    ] = None,
) -> None:
    """The stage plan: a seating chart with microphones, hall and scale."""
    from seatwright.errors import printable
    from seatwright.plans import write_plan

    path = out or Path(scene.stem + (f" {seating}" if seating else "") + ".svg")
    write_plan(scene, path, seating, moved_from)
    typer.echo(f"written to {printable(str(path))}", err=True)


@app.command("tally")
def tally_command(
    ballots: Annotated[
        list[Path],
        typer.Argument(metavar="BALLOT...", help="Ballots: JSON, text with codes, folders."),
    ],
    trial: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The trial's manifest; names and rules stand in it."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not text.")] = False,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a page with plots.")
    ] = None,
) -> None:
    """What the listeners said: preferences, strengths, scores, remarks, refused ballots."""
    from seatwright.errors import printable
    from seatwright.tally import tally
    from seatwright.views.tally_text import tally_json, tally_text

    found = tally(ballots, trial, html)
    typer.echo(tally_json(found) if as_json else tally_text(found), nl=False)
    if html is not None:
        typer.echo(f"written to {printable(str(html))}", err=True)


@app.command("schema")
def schema_command() -> None:
    """JSON Schema of the scene file, for editors."""
    import json

    from seatwright.stage.scene import scene_schema

    typer.echo(json.dumps(scene_schema(), indent=2))


@app.command("surfaces")
def surfaces_command() -> None:
    """Named surfaces and their absorption per octave band."""
    from seatwright.stage.bands import BAND_NAMES
    from seatwright.stage.surfaces import material_table
    from seatwright.views.text_table import text_table

    rows = [[name, *(f"{v:.2f}" for v in bands)] for name, bands in material_table().items()]
    typer.echo(text_table(["surface", *BAND_NAMES], rows))


@app.command("halls")
def halls_command(
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, not a table.")] = False,
) -> None:
    """Named starting halls, their size, volume and reverberation per octave band."""
    from seatwright.views.hall_list import halls_json, halls_table

    typer.echo(halls_json() if as_json else halls_table())


@app.command("instruments")
def instruments_command(
    polar: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Draw which way they radiate, one SVG a section, instead."
        ),
    ] = None,
) -> None:
    """Known instruments, their section, height and usual width."""
    from seatwright.stage.instruments import INSTRUMENTS
    from seatwright.views.text_table import text_table

    if polar is not None:
        _draw_radiation(polar)
        return
    rows = [
        [name, known.family, f"{known.height:.1f}", f"{known.players}", f"{known.width:.1f}"]
        for name, known in INSTRUMENTS.items()
    ]
    typer.echo(text_table(["instrument", "section", "height m", "players", "width m"], rows))


def _draw_radiation(folder: Path) -> None:
    from seatwright.disk.text_files import write_text_files
    from seatwright.errors import printable
    from seatwright.views.polar_plot import polar_plots

    plots = {f"{family}.svg": drawing for family, drawing in polar_plots().items()}
    for file in write_text_files(folder, plots):
        typer.echo(printable(str(file)))


_ENDED_BY = {129: "ended by SIGHUP", 130: "interrupted", 143: "ended by SIGTERM"}


def _say_ended(code: object) -> None:
    if isinstance(code, int) and (why := _ENDED_BY.get(code)):
        with suppress(OSError):  # the terminal may be gone
            typer.echo(f"seatwright: {why}, no output is half written", err=True)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line.

    Ends with 0 done, 1 render failed, 2 scene or usage, 3 audio, 4 disk, 129 terminal gone,
    130 interrupted, 143 told to end.
    """
    from seatwright.errors import SeatwrightError, printable
    from seatwright.interrupts import ENDING

    for stream in (sys.stdout, sys.stderr):  # a terminal without a letter shows its number
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        with ENDING:
            app(args=arguments)
    except SeatwrightError as error:
        for fault in error.faults:
            typer.echo(f"seatwright: {fault}", err=True)
        sys.exit(error.exit_code)
    except SystemExit as end:
        _say_ended(end.code)
        raise
    except KeyboardInterrupt:  # before or after typer
        _say_ended(130)
        sys.exit(130)
    except MemoryError:
        typer.echo("seatwright: not enough memory for this render", err=True)
        sys.exit(1)
    except OSError as error:
        found = printable(f"{error.strerror or error}: {error.filename or ''}")
        typer.echo(f"seatwright: {found}", err=True)
        sys.exit(4)
