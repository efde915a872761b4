"""The demo's backbone in memory and in the database."""

import pytest

from inventory.names.actions.backbone import load_release
from inventory.names.models import BackboneRelease
from tests.factories import NOW

from .stores import BACKBONE, MemoryStore, demo_store


@pytest.fixture(scope="session")
def memory() -> MemoryStore:
    """The demo's backbone without a database."""
    return demo_store()


@pytest.fixture
def backbone(db: None) -> BackboneRelease:
    """The demo's backbone, loaded and current."""
    return load_release(BACKBONE, now=NOW).release
