"""The first page: the jobs there are, and beginning a new one."""

from __future__ import annotations

from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.guard import BEGINNING
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, mark, words
from fitkit.workflow.job_shelf import ShelvedJob, free_folder, shelved_jobs
from fitkit.workflow.start_job import start_job

__all__ = ["build_front"]


def build_front(page: RoomPage) -> None:
    """Fill the page."""
    words("Jobs", "h1")
    page.live(lambda: _jobs(page))
    _new_job(page)


def _jobs(page: RoomPage) -> None:
    try:
        jobs = shelved_jobs(page.session.shelf)
    except FitkitError as error:
        words(f"{error.cause} {error.remedy}", "p")
        return
    if not jobs:
        words("There is no job here yet: begin one below.", "p", "fk-soft")
        return
    with box("fk-jobs"):
        for job in jobs:
            _job(page, job)


def _job(page: RoomPage, job: ShelvedJob) -> None:
    with box("fk-card"):
        words(job.name, "h2")
        words(f"for {job.wearer}" if job.wearer else job.folder.name, "p", "fk-soft")
        if job.fault:
            with box("fk-row"):
                mark("wrong", "fk-is-wrong")
                words(job.fault, "p")
        is_open = job.folder == page.session.folder

        def open_it() -> None:
            _enter(page, job)

        button("Go on" if is_open else "Open", open_it, first=is_open, label=f"Open {job.name}")


def _new_job(page: RoomPage) -> None:
    told = {"name": "", "wearer": ""}

    def begin() -> None:
        name = " ".join(told["name"].split())
        if not name:
            ui.notify("Give the job a name first.", type="warning")
            return
        folder = free_folder(page.session.shelf, name)
        begun = page.try_to(lambda: start_job(folder, name=name, wearer=told["wearer"].strip()))
        if begun:
            _enter(page, ShelvedJob(folder, name))

    with box("fk-card"):
        words("A new job", "h2")
        with box("fk-even"):
            field("What it is called", "", lambda text: told.update(name=text),
                  hint="Heron Warden")  # fmt: skip
            field("Who wears it", "", lambda text: told.update(wearer=text))
        with box("fk-row"):
            button("Begin", begin, first=True)


def _enter(page: RoomPage, job: ShelvedJob) -> None:
    if job.folder != page.session.folder and not page.try_to(
        lambda: page.session.take_up(job.folder)
    ):
        return
    ui.navigate.to(BEGINNING)
