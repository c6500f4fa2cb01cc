"""The made-up reef that ships with sitekit, and the commented plan.toml that a new project starts from."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

from sitekit.base.files import write_text
from sitekit.errors import Fault, FileFault


def _folder() -> Path:
    package = Path(__file__).resolve().parents[1]
    for place in (package / "_samples", package.parent / "data_samples"):
        if (place / "make_reef.py").is_file():
            return place
    raise FileFault(Fault("data_samples", "the folder is missing", "sitekit/_samples", "Install sitekit again."))


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("sitekit_samples_make_reef", _folder() / "make_reef.py")
    if spec is None or spec.loader is None:
        raise FileFault(Fault("make_reef.py", "cannot be loaded", "a Python file", "Install sitekit again."))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def make_demo(folder: Path) -> Path:
    """Write the fictional reef's files and its plan.toml; return the path of the plan.

    A folder that already holds a plan keeps it and its files.

    Raises
    ------
    FileFault
        If the folder holds other things but no plan, or cannot be written.
    """
    plan = folder / "plan.toml"
    if plan.is_file():
        return plan
    if folder.exists() and any(folder.iterdir()):
        raise FileFault(
            Fault(str(folder), "holds other files and no plan.toml", "an empty or new folder", "Name another folder.")
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileFault(
            Fault(
                str(folder), f"cannot be made ({error.strerror})", "a folder you may write to", "Name another folder."
            )
        ) from error
    _script().make(folder)
    return plan


def make_new(folder: Path) -> Path:
    """Write the commented plan.toml into a folder that has none; return its path.

    Raises
    ------
    FileFault
        If there is a plan.toml already, or the folder cannot be written.
    """
    plan = folder / "plan.toml"
    if plan.exists():
        raise FileFault(Fault(str(plan), "exists already", "a folder without plan.toml", "Edit it, or name another."))
    text = (_folder() / "plan.toml").read_text("utf-8")
    write_text(plan, text.replace("fictional = true", "fictional = false"))
    return plan
