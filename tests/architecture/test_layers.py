"""What may know of what. The contracts stand in pyproject.toml; string foreign keys would slip past them."""

import subprocess
import sys
from pathlib import Path

from django.apps import apps
from django.db.models import ForeignKey, ManyToManyField, OneToOneField

ROOT = Path(__file__).resolve().parents[2]
LAYERS = ["core", "people", "catalogue", "stock", "floor", "life", "planning"]
# Kept answers belong to whoever sent the request; core is the one slice below people.
UPWARD_WITH_REASON = {("core", "KeptAnswer", "person")}


def slice_of(model: type) -> str:
    return model.__module__.split(".")[1]


def test_imports_keep_to_the_contracts() -> None:
    answer = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stdout + answer.stderr


def test_no_foreign_key_points_up() -> None:
    upward = [
        f"{model.__name__}.{field.name} points up to {field.related_model.__name__}"
        for model in apps.get_app_config("crib").get_models()
        for field in model._meta.get_fields()
        if isinstance(field, ForeignKey | OneToOneField | ManyToManyField)
        and field.related_model.__module__.startswith("crib.")
        and LAYERS.index(slice_of(field.related_model)) > LAYERS.index(slice_of(model))
        and (slice_of(model), model.__name__, field.name) not in UPWARD_WITH_REASON
    ]
    assert upward == []


def test_every_model_lives_in_a_slice_and_is_exported() -> None:
    import crib.models

    for model in apps.get_app_config("crib").get_models(include_auto_created=False):
        assert slice_of(model) in LAYERS
        assert model.__name__ in crib.models.__all__, f"{model.__name__} is missing in crib/models.py"
