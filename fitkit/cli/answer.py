"""How every command ends: findings shown, faults told in two lines, an exit code.

Exit 0 done; 1 the input or the job is at fault; 2 wrong usage; 3 done, but a finding says
not to cut from the result.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from fitkit.errors import FitkitError, explain_import_failure
from fitkit.findings import Finding, Severity

if TYPE_CHECKING:
    from fitkit.workflow.step_report import StepReport

__all__ = ["answering", "finish", "print_findings", "print_reports"]

DONE, AT_FAULT, STOP_STANDS = 0, 1, 3
_NOTES_SHOWN = 6


@contextmanager
def answering(command: str, *, as_json: bool) -> Iterator[None]:
    """Turn whatever goes wrong in a command into one cause, one remedy and exit 1."""
    try:
        yield
    except (typer.Exit, typer.Abort, typer.BadParameter):
        raise
    except FitkitError as error:
        _fail(command, type(error).__name__, error.cause, error.remedy, as_json=as_json)
    except KeyboardInterrupt:
        _fail(
            command,
            "Stopped",
            "The work was stopped by hand; the job is as the last finished step left it.",
            "Run the same command again: it goes on where it stopped.",
            as_json=as_json,
        )
    except MemoryError:
        _fail(
            command,
            "MemoryError",
            "The machine ran out of memory.",
            "Close other programs, or set a smaller longest_px in [capture] of job.toml.",
            as_json=as_json,
        )
    except BrokenPipeError:
        # Whoever read our output has gone, as with `| head`; nothing is left to say.
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115  closed by the interpreter
        raise typer.Exit(DONE) from None
    except Exception as error:
        if os.environ.get("FITKIT_TRACE"):
            raise
        missing = (
            explain_import_failure(error) if isinstance(error, ImportError | OSError) else None
        )
        if missing is not None:
            _fail(command, "MissingLibraryError", missing.cause, missing.remedy, as_json=as_json)
        _fail(
            command,
            type(error).__name__,
            f"fitkit itself failed in '{command}' ({type(error).__name__}: {error}).",
            "Run it again with FITKIT_TRACE=1 set and report what it prints; the job is as the "
            "last finished step left it.",
            as_json=as_json,
        )


def _fail(command: str, kind: str, cause: str, remedy: str, *, as_json: bool) -> None:
    cause, remedy = " ".join(cause.split()), " ".join(remedy.split())
    if as_json:
        error = {"kind": kind, "cause": cause, "remedy": remedy}
        _print_json({"command": command, "exit": AT_FAULT, "error": error})
    print(f"cause: {cause}", file=sys.stderr)
    print(f"remedy: {remedy}", file=sys.stderr)
    raise typer.Exit(AT_FAULT)


def finish(
    command: str,
    values: dict[str, Any],
    findings: Iterable[Finding],
    *,
    as_json: bool,
    show: Callable[[], None],
) -> None:
    """Show a result, as JSON or in words, and exit with 3 when a stop finding stands."""
    standing = any(finding.severity is Severity.STOP for finding in findings)
    code = STOP_STANDS if standing else DONE
    if as_json:
        _print_json({"command": command, "exit": code, **values})
    else:
        show()
    sys.stdout.flush()
    if code:
        raise typer.Exit(code)


def _print_json(values: dict[str, Any]) -> None:
    print(json.dumps(values, ensure_ascii=False, indent=1))


def print_reports(reports: Sequence[StepReport]) -> None:
    """Print one line a step."""
    for report in reports:
        if report.ran:
            took = f" in {report.seconds:.1f} s" if report.seconds >= 0.05 else ""
            print(f"{report.step:10s} made{took}: {report.words}")
        else:
            print(f"{report.step:10s} still holds, left alone")


def print_findings(findings: Sequence[Finding], *, all_notes: bool = False) -> None:
    """Print findings, the gravest first; of notes only the first few unless all are asked for."""
    order = {Severity.STOP: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    notes = 0
    for finding in sorted(findings, key=lambda finding: order[finding.severity]):
        if finding.severity is Severity.NOTE:
            notes += 1
            if notes > _NOTES_SHOWN and not all_notes:
                continue
        remedy = f" {finding.remedy}" if finding.remedy else ""
        where = f"{finding.where}: " if finding.where else ""
        print(f"  {finding.severity.value:8s} {where}{finding.message}{remedy}")
    if notes > _NOTES_SHOWN and not all_notes:
        print(f"  {notes - _NOTES_SHOWN} more notes: fitkit check lists them all")
