"""A small application around the real page functions, with invented views, served by a real uvicorn on loopback."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles

from api.pages.error.page import error_page
from api.pages.figures.page import figures_page
from api.pages.people.page import signin_page
from api.pages.plan.page import plan_page
from api.pages.plant.page import plant_page
from api.pages.shared import layout
from api.pages.vessel.page import empty_page, fleet_page
from api.pages.work.page import job_page
from tests.unit.api import invented, invented_plan

Draw = Callable[[str], str]


def views() -> dict[str, Draw]:
    """Path to the function that draws it, given the light."""
    plants = {
        "plant-3": invented.plant(3),
        "plant-5": invented.plant(5),
        "plant-6": invented.plant(6),
        "plant-8": invented.plant(8),
        "calm": invented.calm(),
        "states": invented.all_states(),
        "deficit": invented.deficit(),
        "empty-plant": invented.nothing(),
        "no-plan": invented.plant(5, planned=False),
        "busy": invented.plant(4, busy=True),
        "one-pump": invented.plant(1),
        "crowded": invented.long_names(),
    }
    found: dict[str, Draw] = {
        f"/{name}": lambda light, v=view: plant_page(v, light=light, csrf="c") for name, view in plants.items()
    }
    for name, shown in invented_plan.VIEWS.items():
        path = f"/plan-{name.replace(' ', '-').replace(',', '')}"
        found[path] = lambda light, v=shown: plan_page(v, light=light, csrf="c")
    found["/figures"] = lambda light: figures_page(invented.all_states(), light=light, csrf="c")
    for name, sheet in (
        ("job", invented.job_view()),
        ("refused", invented.job_refused()),
        ("closed", invented.job_closed()),
    ):
        found[f"/{name}"] = lambda light, v=sheet: job_page(v, light=light, csrf="c")
    found["/fleet"] = lambda light: fleet_page(invented.fleet(), light=light, csrf="c")
    found["/sign-in"] = lambda light: signin_page(invented.sign_in(), light=light, csrf="c")
    found["/enter"] = lambda light: signin_page(
        invented.sign_in(token="t", person="Second engineer"), light=light, csrf="c"
    )
    found["/error"] = lambda light: error_page(invented.error(), light=light, csrf="c")
    found["/first-run"] = lambda light: empty_page(invented.empty(), light=light, csrf="c")
    return found


def application() -> FastAPI:
    """The application: every view, /light, a close form that redirects, /docs and the static files."""
    app = FastAPI(docs_url=None, redoc_url=None)
    app.mount("/static", StaticFiles(directory=layout.STATIC), name="static")
    for path, draw in views().items():
        _add(app, path, draw)

    @app.post("/light")
    async def light(request: Request) -> Response:
        form = await request.form()
        answer = RedirectResponse(str(form["here"]), 303)
        answer.set_cookie("light", str(form["light"]))
        return answer

    @app.post("/plants/demo/jobs/{key}/close")
    async def close(key: str) -> Response:
        return RedirectResponse("/closed", 303)

    @app.get("/livez")
    async def livez() -> Response:
        return JSONResponse({"alive": True})

    @app.get("/docs")
    async def docs() -> Response:
        return HTMLResponse(layout.docs_page(), headers={"Content-Security-Policy": layout.DOCS_CSP})

    return app


def _add(app: FastAPI, path: str, draw: Draw) -> None:
    @app.get(path)
    async def shown(request: Request) -> Response:
        body = draw(request.cookies.get("light", ""))
        return HTMLResponse(body, headers={"Content-Security-Policy": layout.CSP})


@contextmanager
def served() -> Iterator[str]:
    """Address of the running application; it is stopped on leaving."""
    config = uvicorn.Config(application(), host="127.0.0.1", port=0, log_level="warning", lifespan="off")
    server = uvicorn.Server(config)
    sock = config.bind_socket()
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{sock.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(10)
        sock.close()
