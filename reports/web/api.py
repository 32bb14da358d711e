"""The garden as JSON with an OpenAPI document, for home automation: the same rights, the same rules."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from data_sources.journal_questions import what_a_batch_did
from phenology.language.words import find_operation, find_stage
from phenology.model.errors import FlushcastError, InputError
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.garden.open_garden import OpenGarden
from reports.web.site import Site
from reports.web.writing import AlreadyWrittenError, Entry, new_token, take_back, typed_fields, write_down

Text = Annotated[str, Field(max_length=500)]
Key = Annotated[str, Field(pattern="^[0-9a-f-]{8,64}$")]


class NewEntry(BaseModel):
    """What a look and work share; the words are those of the commands."""

    model_config = ConfigDict(extra="forbid")

    trees: Text = Field(description='As typed: a label, several, a species, a place, "all but 7".')
    when: Text = Field("", description='"yesterday", "4 July", "about 4 July"; today where empty.')
    who: Text = ""
    note: Text = ""
    part: Text = Field("", description="top, bottom or inside.")
    key: Key | None = Field(
        None, description="Of your own: the same key is written once, however often it is sent."
    )


class NewLook(NewEntry):
    """A look to be written down."""

    stage: Text = Field(description="A stage, or an everyday word for it: soft, stopped, firm.")
    leaves: Text = Field("", description="Leaves counted on a few shoots: 5,6,5.")
    mark: Text = Field("", description="checked or lost.")
    kind: Text = Field("", description="seen or happened.", pattern="^(seen|happened)?$")
    new_flush: bool = False
    cause: Text = ""
    ended: Text = ""
    yes: bool = Field(
        False, description="New shoots are really out, though sooner than the species shows them."
    )


class NewWork(NewEntry):
    """Work to be written down."""

    operation: Text = Field(description='An operation, or everyday words: "cut back".')
    place: Text = Field("", description="With moving: where to.")
    early: bool = Field(False, description="Done before the leaves were hard.")


class Undo(BaseModel):
    """Which change to take back."""

    model_config = ConfigDict(extra="forbid")

    change: Key | None = Field(None, description="As it was given when saved; the last one where left out.")


class Written(BaseModel):
    """What was written down."""

    said: str
    minded: str = Field(description="What to mind.")
    change: str | None = Field(
        description="To take it back with; null where all of it was on record already."
    )


class TakenBack(BaseModel):
    """What was taken back."""

    said: str


class Wrong(BaseModel):
    """What is wrong, in words."""

    error: str


REFUSED: dict[int | str, dict[str, Any]] = {
    401: {"model": Wrong, "description": "Not paired"},
    422: {"model": Wrong, "description": "Not understood, or it cannot stand"},
    503: {"model": Wrong, "description": "The garden cannot be read or written now"},
}


def make_api(site: Site) -> FastAPI:
    """The API of one garden, to be mounted under ``/api``."""
    api = FastAPI(
        title="flushcast", version="1", docs_url=None, redoc_url=None, responses=REFUSED,
        description="Agenda, forecast, looks and work of one garden.",
    )  # fmt: skip

    @api.exception_handler(FlushcastError)
    def refused(_: Request, error: FlushcastError) -> JSONResponse:
        return JSONResponse({"error": str(error)}, 422 if isinstance(error, InputError) else 503)

    @api.exception_handler(RequestValidationError)
    def malformed(_: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        return JSONResponse({"error": f"{where}: {first['msg']}"}, 422)

    @api.get("/agenda")
    def agenda() -> Response:
        """Every tree once: what it is at, what comes when, what that opens."""
        return _as_json(site, with_rows=False)

    @api.get("/forecast")
    def forecast() -> Response:
        """The whole forecast with its odds; as `flushcast forecast --json`."""
        return _as_json(site, with_rows=True)

    @api.post("/look")
    def look(new: NewLook) -> Written:
        """Write a look down."""
        return _write(site, new, LookEditor, lambda: find_stage(new.stage))

    @api.post("/work")
    def work(new: NewWork) -> Written:
        """Write work down, whatever the rules say of it; they are told in `minded`."""
        return _write(site, new, WorkEditor, lambda: find_operation(new.operation))

    @api.post("/undo")
    def undo(which: Undo) -> TakenBack:
        """Take the last change back."""
        with site.keeper.opened() as garden:
            label = take_back(garden, which.change)
        site.keeper.warm()
        return TakenBack(said=f"Took back: {label}.")

    return api


def _as_json(site: Site, *, with_rows: bool) -> Response:
    from reports.views.ahead import agenda_json, forecast_json

    with site.keeper.opened() as garden:
        known, units = site.keeper.ahead(garden), garden.settings.units
        make = forecast_json if with_rows else agenda_json
        text: str = known.once(make.__name__, lambda: make(known.agenda, units))
    return Response(text, media_type="application/json")


def _write(site: Site, new: NewEntry, editor: type[LookEditor] | type[WorkEditor], name: Any) -> Written:
    given = {field: value if isinstance(value, str) else "1" for field, value in new if value}
    with site.keeper.opened() as garden:
        trees = tuple(tree.id for tree in garden.select(new.trees))
        entry = Entry(editor, trees, name(), typed_fields(given, editor), new.key or new_token())
        try:
            draft, batch = write_down(garden, entry)
        except AlreadyWrittenError as error:
            return Written(said=_label(garden, error.batch), minded="", change=error.batch)
    site.keeper.warm(trees)
    return Written(said=draft.said, minded=draft.minded, change=batch or None)


def _label(garden: OpenGarden, batch: str) -> str:
    found = what_a_batch_did(garden.journal, batch)
    return f"Written down already: {found[0] if found else 'this'}."
