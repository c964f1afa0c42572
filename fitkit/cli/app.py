"""The commands. Each parses, makes one call into the workflow, and shows what came back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitkit.cli.answer import answering, finish, print_findings, print_reports
from fitkit.cli.arguments import AsJson, JobFolder
from fitkit.cli.design_rows import finish_edit
from fitkit.cli.fitting_commands import fastener_app, gusset_app, pad_app
from fitkit.cli.lames_command import lames_command
from fitkit.cli.line_commands import line_app
from fitkit.cli.motion_command import motion_command
from fitkit.cli.nest_command import nest_command
from fitkit.cli.patch_commands import patch_app
from fitkit.cli.progress_lines import shown_progress
from fitkit.cli.room_command import room_command
from fitkit.cli.strap_commands import strap_app
from fitkit.cli.trace_command import trace_command

if TYPE_CHECKING:
    from fitkit.flatten.cut_choice import CutChoice
    from fitkit.workflow.step_report import StepReport

__all__ = ["app"]

_OLD = "out of date"

app = typer.Typer(
    help="From photos of the wearer to paper templates for rigid wearable parts that fit.",
    epilog="Exit codes: 0 done, 1 the input or the job is at fault, 2 wrong usage, "
    "3 done but a finding says not to cut.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

FromTape = Annotated[
    str | None,
    typer.Option(
        metavar="men|women",
        help="No photos, no mesh: build a stand-in from the tape list, what it leaves out from "
        "a survey of men or women.",
    ),
]
TapePart = Annotated[
    str | None,
    typer.Option(
        metavar="PART", help="What of the stand-in to keep: whole body, torso, head, left arm, ..."
    ),
]

app.add_typer(line_app, name="line")
app.add_typer(patch_app, name="patch")
app.add_typer(strap_app, name="strap")
app.add_typer(pad_app, name="pad")
app.add_typer(gusset_app, name="gusset")
app.add_typer(fastener_app, name="fastener")


def _version(wanted: bool) -> None:
    if wanted:
        from fitkit import __version__

        print(f"fitkit {__version__}")
        raise typer.Exit


@app.callback()
def _fitkit(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Say which fitkit."),
    ] = False,
) -> None:
    pass


@app.command("demo")
def demo_command(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Where to work; heron-warden-demo if not given."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make the bundled sample job, photos to pages and build book."""
    with answering("demo", as_json=as_json):
        from fitkit.workflow.demo import DEMO_FOLDER, demo

        with shown_progress() as progress:
            reports = demo(folder, progress=progress)
        _show_made("demo", reports, folder or Path(DEMO_FOLDER), as_json=as_json)


@app.command("markers")
def markers_command(
    paper: Annotated[str, typer.Option(metavar="PAPER", help="A4, A3 or Letter.")] = "A4",
    count: Annotated[int, typer.Option(metavar="COUNT", help="How many sheets.")] = 8,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The PDF to write.")] = Path(
        "marker-sheets.pdf"
    ),
    as_json: AsJson = False,
) -> None:
    """Write marker sheets to print and lay on the floor."""
    with answering("markers", as_json=as_json):
        from fitkit.workflow.write_marker_sheets import write_marker_sheets

        report = write_marker_sheets(out, paper=paper, count=count)

        def show() -> None:
            print(f"{report.words}.")
            print(f"written: {out}")

        finish("markers", report.as_dict(), (), as_json=as_json, show=show)


@app.command("start")
def start_command(
    job: JobFolder,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="What the job is called.")
    ] = None,
    wearer: Annotated[str | None, typer.Option(metavar="NAME", help="Who wears it.")] = None,
    tape: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=LENGTH", help="One line of the tape list, as chest='98 cm'; repeat it."
        ),
    ] = None,
    from_tape: FromTape = None,
    part: TapePart = None,
    as_json: AsJson = False,
) -> None:
    """Make a job folder with a job.toml to fill in."""
    with answering("start", as_json=as_json):
        from fitkit.errors import InputError
        from fitkit.workflow.start_job import start_job

        _check_stand_in(from_tape, part)
        if part is not None and from_tape is None:
            raise typer.BadParameter("--part needs --from-tape men or women.")
        measures: dict[str, str] = {}
        for row in tape or ():
            what, equals, length = row.partition("=")
            if not equals or not what.strip():
                raise InputError(
                    f"'{row}' is not a line of a tape list.", "Write it as chest='98 cm'."
                )
            measures[what.strip()] = length.strip()
        if wearer is None and _somebody_is_there(as_json=as_json):
            wearer = typer.prompt("Who wears it", default="", show_default=False, err=True)
        report = start_job(
            job, name=name, wearer=wearer or "", tape=measures, from_tape=from_tape, part=part
        )

        def show() -> None:
            print(f"{report.words}.")
            print(f"Next: fitkit body {job}" if from_tape else f"Next: fitkit scan {job} PHOTOS")

        finish("start", report.as_dict(), (), as_json=as_json, show=show)


@app.command("scan")
def scan_command(
    job: JobFolder,
    photos: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[PHOTOS]...", help="Photos, or folders of them, to add."),
    ] = None,
    printed_mm: Annotated[
        tuple[float, float] | None,
        typer.Option(
            metavar="X Y",
            help="The two check lengths as measured on the printed sheets, across and up, in mm.",
        ),
    ] = None,
    check: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT=LENGTH",
            help="What a tape says: between the middles of the tags on two sheets, as "
            "'1-5=1.84 m', or round the body, as 'chest=91.2 cm', or 'chest' to take it from the "
            "tape list; repeat it.",
        ),
    ] = None,
    tags: Annotated[
        str | None,
        typer.Option(
            metavar="FAMILY",
            help="Tags of your own in place of marker sheets: 36h11, 25h9, 16h5, 36h10, or 4x4_50 "
            "and its like.",
        ),
    ] = None,
    side_mm: Annotated[
        float | None, typer.Option(metavar="MM", help="Side of those tags' black square in mm.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Add photos to a job; make the scan and the body."""
    with answering("scan", as_json=as_json):
        from fitkit.workflow.scan_job import scan_job

        with shown_progress() as progress:
            reports = scan_job(
                job,
                photos or (),
                printed_mm=printed_mm,
                checks=check or (),
                tags=tags,
                side_mm=side_mm,
                progress=progress,
            )
        _show_made("scan", reports, job, as_json=as_json)


@app.command("body")
def body_command(
    job: JobFolder,
    mesh: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A PLY, OBJ, STL, OFF, GLB or glTF mesh to take."),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(metavar="UNIT", help="What one number of the file is: mm, cm, m or in."),
    ] = None,
    up: Annotated[
        str | None,
        typer.Option(
            metavar="AXIS", help="The file's axis that points up: z, y, x, -z, -y, -x, or find."
        ),
    ] = None,
    front: Annotated[
        str | None,
        typer.Option(metavar="AXIS", help="The file's axis that points to the wearer's front."),
    ] = None,
    from_tape: FromTape = None,
    part: TapePart = None,
    as_json: AsJson = False,
) -> None:
    """Take a body from a mesh or the tape list, or make it again."""
    with answering("body", as_json=as_json):
        import sys

        from fitkit.units import MM_PER_UNIT
        from fitkit.workflow.body_job import body_job, readings_of_file

        if unit is not None and unit not in MM_PER_UNIT:
            raise typer.BadParameter(f"--unit is one of {', '.join(MM_PER_UNIT)}.")
        _check_stand_in(from_tape, part)
        if mesh is not None and unit is None and _somebody_is_there(as_json=as_json):
            readings = readings_of_file(mesh)
            if readings:
                print(f"{mesh.name} does not say in what unit it is; likeliest {readings}.",
                      file=sys.stderr)  # fmt: skip
                while unit not in MM_PER_UNIT:
                    question = f"What is one number of it ({', '.join(MM_PER_UNIT)})"
                    unit = typer.prompt(question, err=True)
        with shown_progress() as progress:
            reports = body_job(
                job,
                mesh,
                unit=unit,  # type: ignore[arg-type]  # checked just above
                up=up,
                front=front,
                from_tape=from_tape,  # type: ignore[arg-type]  # checked too
                part=part,  # type: ignore[arg-type]
                progress=progress,
            )
        _show_made("body", reports, job, as_json=as_json)


@app.command("measure")
def measure_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Show the body's measures beside the tape list."""
    with answering("measure", as_json=as_json):
        from fitkit.workflow.measure_job import measure_job

        measures = measure_job(job)

        def show() -> None:
            head = ("body mm", "tape mm", "differs", "limit")
            print(f"{'measure':24s}" + "".join(f"{words:>10s}" for words in head))
            for row in measures.rows:
                lengths = (row.body_mm, row.tape_mm)
                cells = "".join(f"{x:10.1f}" if x is not None else " " * 10 for x in lengths)
                if row.difference_mm is not None:
                    cells += f"{row.difference_mm:+10.1f}{row.limit_mm:10.0f}  {row.verdict}"
                print(f"{row.name:24s}{cells}".rstrip())
            if any(row.verdict for row in measures.rows):
                print("limit: ISO 20685-1, what scan and tape may differ by for that kind.")
            for name, (x, y, z) in measures.landmarks.items():
                sure = f"{measures.confidence.get(name, 1.0):.0%} sure"
                print(f"{name:24s} at x {x:z.0f}, y {y:z.0f}, z {z:z.0f}, {sure}")
            for path in measures.files:
                print(f"written: {job / 'body' / path.name}")

        finish("measure", measures.as_dict(), (), as_json=as_json, show=show)


@app.command("pair")
def pair_command(
    job: JobFolder,
    patch: Annotated[str, typer.Argument(metavar="PATCH", help="A patch that is made in a pair.")],
    part: Annotated[
        bool, typer.Option("--part", help="Keep both sides as patches of their own.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Compare a pair's mirrored side with one fitted there."""
    with answering("pair", as_json=as_json):
        from fitkit.workflow.pair_job import pair_job

        with shown_progress() as progress:
            shown = pair_job(job, patch, part=part, progress=progress)

        def show() -> None:
            print(f"'{shown.patch}' mirrored, against '{shown.other}' fitted to its own side:")
            print(f"  outlines up to {shown.furthest_mm:.1f} mm apart, {shown.rms_mm:.1f} mm rms")
            print(
                f"  area {100 * shown.area_share:+.1f} %, outline {100 * shown.length_share:+.1f} %"
            )
            print(f"Look at both: {shown.picture}")
            if shown.parted:
                print(f"'{shown.other}' now has a row of its own. Go on with: fitkit make {job}")
            else:
                print("Kept as a mirrored pair. To make each fitted, add --part.")

        finish("pair", shown.as_dict(), (), as_json=as_json, show=show)


@app.command("carry")
def carry_command(
    job: JobFolder,
    source: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="OTHER", help="Job whose lines and patches are to be taken."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Lay a design on this job's body by landmarks.

    It is another job's, or this job's own, drawn before its last scan.
    """
    with answering("carry", as_json=as_json):
        from fitkit.workflow.carry_job import carry_job
        from fitkit.workflow.run_step import same_findings_once

        with shown_progress() as progress:
            carried = carry_job(job, source=source, progress=progress)
        found = [finding for report in carried.reports for finding in report.findings]
        findings = same_findings_once([*carried.findings, *found])

        def show() -> None:
            print_reports(carried.reports)
            print(f"{len(carried.shared)} landmarks shared, this body {carried.scale:.3f} as large")
            print(f"{'line':28s} {'there mm':>9s} {'here mm':>9s}")
            for name, there, here in carried.lines:
                print(f"{name:28s} {there:9.1f} {here:9.1f}")
            print_findings(findings)
            print(f"Look at it: {job / 'patches' / 'patches.png'}")

        finish("carry", carried.as_dict(), findings, as_json=as_json, show=show)


@app.command("adapt")
def adapt_command(
    job: JobFolder,
    undo: Annotated[
        bool, typer.Option("--undo", help="Go back to the body as it was found.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Reshape the stand-in's body to the wearer's tape list."""
    with answering("adapt", as_json=as_json):
        from fitkit.workflow.adapt_job import adapt_job
        from fitkit.workflow.run_step import same_findings_once

        with shown_progress() as progress:
            adapted = adapt_job(job, wanted=not undo, progress=progress)
        findings = same_findings_once(
            finding for report in adapted.reports for finding in report.findings
        )

        def show() -> None:
            print_reports(adapted.reports)
            if adapted.rows:
                print(f"{'measure':28s} {'wanted':>9s} {'before':>9s} {'after':>9s} {'off':>8s}")
            for row in adapted.rows:
                lengths = (row.wanted_mm, row.before_mm, row.after_mm)
                cells = " ".join(f"{length:9.1f}" for length in lengths)
                print(f"{row.name:28s} {cells} {row.off_mm:+8.1f}")
            print_findings(findings)
            if not undo:
                print(f"Before and after: {job / 'body' / 'adapted.png'}")

        finish("adapt", adapted.as_dict(), findings, as_json=as_json, show=show)


@app.command("flatten")
def flatten_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Lay the patches flat; say what relief cuts would buy."""
    _make("flatten", job, "blanks", as_json=as_json)


@app.command("cut")
def cut_command(
    job: JobFolder,
    patch: Annotated[str | None, typer.Argument(metavar="[PATCH]", help="The patch.")] = None,
    choice: Annotated[
        int | None, typer.Argument(metavar="[CHOICE]", help="Number of the choice to take up.")
    ] = None,
    none: Annotated[bool, typer.Option("--none", help="Take the patch's cuts out.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show choices of relief cuts by patch, or take one up."""
    with answering("cut", as_json=as_json):
        from fitkit.workflow.cut_job import adopt_choice, advised_choices, take_out_cuts

        if none and (patch is None or choice is not None):
            raise typer.BadParameter("Name the patch alone: fitkit cut JOB PATCH --none.")
        if patch is not None and (none or choice is not None):
            with shown_progress() as progress:
                report = (
                    take_out_cuts(job, patch)
                    if none
                    else adopt_choice(job, patch, int(choice or 0), progress=progress)
                )
            told = f"{report.words}. Now run: fitkit make {job}"
            finish("cut", report.as_dict(), (), as_json=as_json, show=lambda: print(told))
            return
        advised = advised_choices(job)
        if patch is not None:
            from fitkit.errors import InputError

            if patch not in advised:
                raise InputError(
                    f"There is no patch called '{patch}'.", f"Use one of: {', '.join(advised)}."
                )
            advised = {patch: advised[patch]}
        values = {name: [one.as_dict() for one in choices] for name, choices in advised.items()}
        finish(
            "cut",
            {"patches": values},
            (),
            as_json=as_json,
            show=lambda: _print_choices(advised, job),
        )


def _print_choices(advised: Mapping[str, Sequence[CutChoice]], job: Path) -> None:
    for name, choices in advised.items():
        print(name)
        for number, one in enumerate(choices, start=1):
            length = f", {one.length_mm:.0f} mm of cuts" if one.length_mm else ""
            print(f"  {number}  {one.in_words()}{length}")
    if any(len(choices) > 1 for choices in advised.values()):
        print(f"Pictures: {job / 'blanks'}. To take one up: fitkit cut {job} PATCH NUMBER")


@app.command("print")
def print_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Write the templates as pages to print, as SVG and DXF."""
    _make("print", job, "pages", as_json=as_json)


app.command("nest")(nest_command)
app.command("trace")(trace_command)
app.command("motion")(motion_command)
app.command("lames")(lames_command)

app.command("room")(room_command)


@app.command("undo")
def undo_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Take back the last change to job.toml.

    Again for the one before, to the first.
    """
    _step("undo", job, back=True, as_json=as_json)


@app.command("redo")
def redo_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Make the change again that was taken back last."""
    _step("redo", job, back=False, as_json=as_json)


@app.command("book")
def book_command(
    job: JobFolder,
    measures: Annotated[
        bool | None,
        typer.Option(
            "--measures/--no-measures",
            help="Put the wearer's measures in, or leave them out; kept for the next time.",
            show_default=False,
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write the build book for the shop."""
    with answering("book", as_json=as_json):
        from fitkit.workflow.book_job import book_job

        with shown_progress() as progress:
            reports = book_job(job, measures=measures, progress=progress)
        _show_made("book", reports, job, as_json=as_json)


@app.command("make")
def make_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Make all that is missing or was changed since, in order."""
    _make("make", job, None, as_json=as_json)


@app.command("check")
def check_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Show every finding and what still holds; make nothing."""
    with answering("check", as_json=as_json):
        from fitkit.workflow.check_job import check_job

        check = check_job(job)

        def show() -> None:
            words = {"fresh": "holds", "missing": "not made", "stale": _OLD, "changed": _OLD}
            for state in check.states:
                why = ", ".join(state.reasons[:4]) if state.state != "missing" else ""
                more = f" and {len(state.reasons) - 4} more" if len(state.reasons) > 4 else ""
                print(f"{state.step:10s} {words[state.state]}{': ' if why else ''}{why}{more}")
            print_findings(check.findings, all_notes=True)
            if not check.findings:
                print("No findings.")

        finish("check", check.as_dict(), check.findings, as_json=as_json, show=show)


def _somebody_is_there(*, as_json: bool) -> bool:
    """Tell whether a question would be answered."""
    import sys

    return sys.stdin.isatty() and not as_json


def _check_stand_in(from_tape: str | None, part: str | None) -> None:
    from fitkit.body.body_part import BODY_PARTS

    if from_tape not in (None, "men", "women"):
        raise typer.BadParameter("--from-tape is men or women.")
    if part is not None and part not in BODY_PARTS:
        raise typer.BadParameter(f"--part is one of {', '.join(BODY_PARTS)}.")


def _step(command: str, job: Path, *, back: bool, as_json: bool) -> None:
    with answering(command, as_json=as_json):
        from fitkit.workflow.step_edit import step_edit

        finish_edit(command, step_edit(job, back=back), as_json=as_json)


def _make(command: str, job: Path, until: str | None, *, as_json: bool) -> None:
    with answering(command, as_json=as_json):
        from fitkit.workflow.make_job import make_job

        with shown_progress() as progress:
            reports = make_job(job, until=until, progress=progress)
        _show_made(command, reports, job, as_json=as_json)


def _show_made(command: str, reports: Sequence[StepReport], job: Path, *, as_json: bool) -> None:
    from fitkit.workflow.run_step import same_findings_once

    findings = same_findings_once(finding for report in reports for finding in report.findings)

    def show() -> None:
        print_reports(reports)
        print_findings(findings)
        if not any(report.ran for report in reports):
            print("Nothing to make: every step still holds.")
        if command == "flatten":
            from fitkit.workflow.cut_job import advised_choices

            _print_choices({k: v for k, v in advised_choices(job).items() if len(v) > 1}, job)
        if command in {"scan", "body"}:
            print(f"Next: hold the body to your tape with: fitkit measure {job}")
        made = {report.step for report in reports}
        if "pages" in made:
            print(f"Pages and files for the cutter: {job / 'out'}")
        if "book" in made:
            print(f"Build book and hardware list: {job / 'book'}")

    values = {"steps": [report.as_dict() for report in reports]}
    finish(command, values, findings, as_json=as_json, show=show)
