"""What stagecast keeps for itself in a season folder: one JSON file each, whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from stagecast.base.errors import StoreError
from stagecast.base.savefile import save_file

Model = TypeVar("Model", bound=BaseModel)


def read_kept(path: Path, model: type[Model], *, damaged_step: str) -> Model:
    """What a file holds; an empty model where there is no file.

    Parameters
    ----------
    damaged_step: what to do about a damaged file.

    Raises
    ------
    StoreError
        When the file is damaged or cannot be read.
    """
    try:
        return model.model_validate_json(path.read_bytes())
    except FileNotFoundError:
        return model()
    except IsADirectoryError as error:
        reason, step = "this is a folder, not a file", "move it away, and try again"
        raise StoreError(str(path), reason, next_step=step) from error
    except OSError as error:
        step = "make it readable, and try again"
        raise StoreError(str(path), error.strerror or str(error), next_step=step) from error
    except ValidationError as error:
        raise StoreError(str(path), "it is damaged", next_step=damaged_step) from error


def keep(path: Path, kept: BaseModel) -> None:
    """Write a file in the place of what was kept before; the same content is the same bytes.

    Raises
    ------
    StoreError
        When it cannot be written; what was there is as it was.
    """
    text = json.dumps(kept.model_dump(mode="json"), indent=1, sort_keys=True) + "\n"
    save_file(path, text.encode(), is_ours=lambda _: True)
