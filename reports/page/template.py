"""The packaged templates, filled. Every page extends `base.html.j2`: one skeleton, one set of styles."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

from reports.charts.ink import PALETTES

if TYPE_CHECKING:
    from markupsafe import Markup


def filled(template: str, **values: Any) -> str:
    """A template of `reports/templates` with its values; text is escaped, a name that is missing an error."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    def load(name: str) -> str:
        return resources.files("reports").joinpath("templates", name).read_text(encoding="utf-8")

    environment = Environment(
        loader=FunctionLoader(load),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    return environment.get_template(template).render(palettes=PALETTES, **values)


def drawn(svg: str) -> Markup:
    """A drawing of our own, put into a page as it is; its words were escaped when it was made."""
    from markupsafe import Markup

    return Markup(svg)
