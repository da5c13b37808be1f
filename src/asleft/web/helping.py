"""Help on the page, without a network: the project's own texts."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response

from asleft.job.manual import every_page, page_html, pages, picture

from .rendering import render_plain, safe


async def contents(_request: Request) -> Response:
    """What there is to read."""
    return HTMLResponse(render_plain("help.html", pages=pages(), name="", text=""))


async def page(request: Request) -> Response:
    """One page. The texts are the project's own; HTML in them is shown as text."""
    name = request.path_params["page"]
    text = safe(page_html(name))
    return HTMLResponse(render_plain("help.html", pages=every_page(), name=name, text=text))


async def picture_file(request: Request) -> Response:
    """A picture on a page."""
    return FileResponse(picture(request.path_params["name"]))
