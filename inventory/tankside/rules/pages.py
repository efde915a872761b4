"""The pages that a device keeps for use without signal. The only list of them.

A room that adds a page adds a row here: its address below /tank/, its words in the navigation, its
template (on ``tankside/app_base.html``) and the files that it needs beyond the common ones. Template
and files are named as strings, so that a room above this one can bring them. All are kept by the
service worker, and a change in any of them is a new version.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TankPage:
    """One page. ``words`` is its entry in the navigation; without words it has none."""

    path: str
    template: str
    title: str
    words: str = ""
    files: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        return f"/{self.path}"

    @property
    def url_name(self) -> str:
        """tank, tank_enrol and so on."""
        return self.path.strip("/").replace("/", "_")


def _modules(*names: str) -> tuple[str, ...]:
    return tuple(f"tankside/{name}.js" for name in names)


# What every page of the tank side needs: names of static files.
COMMON_FILES = (
    "tankside/tank.css",
    "tankside/icon.svg",
    "vendor/idb-8.0.4/index.js",
    *_modules(
        "store",
        "device",
        "outbox",
        "lists",
        "session",
        "person",
        "pictures",
        "picture_outbox",
        "verifier",
        "frame",
        "dom",
        "times",
        "chooser",
    ),
)

PAGES = (
    TankPage(
        path="tank/",
        template="tankside/app.html",
        title="Tank side",
        words="Tank side",
        files=_modules(
            "app",
            "tanks",
            "animal",
            "boxes",
            "details",
            "picture_field",
            "fields",
            "kinds",
            "saved",
            "entries",
            "scan",
        ),
    ),
    TankPage(
        path="tank/readings",
        template="tankside/log_app.html",
        title="Readings",
        words="Readings",
        files=_modules(
            *("log_readings", "log_measures", "boxes", "details", "picture_field", "fields"),
            *("kinds", "saved", "animal", "tanks", "scan"),
        ),
    ),
    TankPage(
        path="tank/slip",
        template="tankside/slip_app.html",
        title="Field slip",
        words="Field slip",
        files=(
            "tankside/slip.css",
            *_modules("slip", "slip_limits", "slip_place", "slip_takes"),
            *_modules(
                "boxes", "details", "picture_field", "fields", "kinds", "saved", "animal", "tanks", "scan"
            ),
        ),
    ),
    TankPage(
        path="tank/count",
        template="rounds/count_app.html",
        title="Count sheets",
        words="Count",
        files=(
            "tankside/slip.css",
            "rounds/count.css",
            *(
                f"rounds/{name}.js"
                for name in ("count", "count_line", "count_sheet", "count_sheets", "passes")
            ),
            *_modules(
                "boxes", "details", "picture_field", "fields", "kinds", "saved", "animal", "tanks", "scan"
            ),
        ),
    ),
    TankPage(
        path="tank/enrol",
        template="tankside/app_enrol.html",
        title="Enrol this device",
        files=_modules("enrol", "scan"),
    ),
)
