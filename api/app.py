"""The web application, put together; everything it says and does stands in the modules named here."""

import threading
from pathlib import Path

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from api.errors import LastResort, say_errors
from api.headers import BodyLimit, SecurityHeaders
from api.office import Office
from api.pages.all_pages import routers as pages
from api.routes import access
from api.routes.all_routes import routers as routes

STATIC = Path(__file__).parent / "static"
ABOUT = (
    "What is known, proposed and decided about cold rooms where meat cures. Estimates only: local rules and a "
    "responsible or licensed person come first. Sign in, or send a bearer token."
)


def create_app(office: Office) -> FastAPI:
    """Return the application for one office. Its schema is not public: `app.openapi()` has it."""
    app = FastAPI(
        title="Curevigil", description=ABOUT, version="1", openapi_url=None, docs_url=None, redoc_url=None,
    )  # fmt: skip
    app.state.office = office
    # Set when the server ends: an event stream never ends by itself.
    app.state.stopping = threading.Event()
    for router in (*routes, access.router):
        app.include_router(router)
    for router in pages:
        # Pages are for people: they are no part of what programs are promised.
        app.include_router(router, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=STATIC, check_dir=False), name="static")
    say_errors(app)
    app.add_middleware(BodyLimit)
    app.add_middleware(LastResort)
    app.add_middleware(SecurityHeaders, settings=office.settings)
    return app
