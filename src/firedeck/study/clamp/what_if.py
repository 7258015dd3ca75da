"""One setting of a predicted joint answered by itself, as the pages answer one after another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firedeck.contact import Store
from firedeck.study.cache import cache_store
from firedeck.study.clamp.answer import ClampAnswer, answer_of, answer_record, giveway_rows
from firedeck.study.clamp.doubted import ClampDoubts
from firedeck.study.clamp.opened import OpenJoint, open_joint
from firedeck.study.clamp.setting import read_setting, setting_text
from firedeck.study.columns import plain
from firedeck.study.prediction.doubt import SealDoubt
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.progress import Progress, silent

__all__ = ["WhatIf", "answer_what_if", "what_if_record"]


@dataclass(frozen=True)
class WhatIf:
    """A setting answered.

    Attributes
    ----------
    opened : OpenJoint
        The joint.
    answer : ClampAnswer
        The answer.
    weighed : ClampDoubts
        How far its answers may be off.
    doubts : mapping of str to SealDoubt or None
        The same of the seals; None for a step of the tightening.
    """

    opened: OpenJoint
    answer: ClampAnswer
    weighed: ClampDoubts
    doubts: Mapping[str, SealDoubt] | None

    @property
    def told(self) -> dict[str, str]:
        """The setting, with everything that it leaves to the files filled in."""
        return setting_text(self.answer.setting, self.opened.files)

    @property
    def assumptions(self) -> tuple[str, ...]:
        """Assumptions that change the result."""
        opened = self.opened
        return prediction_assumptions(opened.files, opened.sizes, opened.gas.origin, opened.joint)


def answer_what_if(
    file: Path,
    text: Mapping[str, str],
    *,
    step: int | None = None,
    fast: bool = False,
    store: Store | None = None,
    progress: Progress = silent,
) -> WhatIf:
    """Answer a setting of a prediction.

    Parameters
    ----------
    file : Path
        Prediction file.
    text : mapping of str to str
        What differs from the files, by the names in `firedeck.study.clamp.setting.ENTRIES`.
    step : int, optional
        Move of the tightening to show instead of the finished joint, from 1.
    fast : bool
        Whether patches of the gasket are solved only, not every point beside them.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told how far it is.

    Raises
    ------
    DefinitionError
        With every entry that cannot be used, and what to write instead.
    FiredeckError
        As `firedeck.study.clamp.opened.open_joint`.
    """
    kept = store if store is not None else cache_store()
    opened = open_joint(
        file, text.get("gasket", ""), kept, progress=lambda what, share: progress(what, 0.5 * share)
    )
    setting = read_setting(opened.files, opened.gas, text)
    progress("tightening", 0.5)
    answer = answer_of(opened, setting, level="fast" if fast else "check", step=step)
    progress("weighing doubts", 0.7)
    weighed = ClampDoubts(opened)
    return WhatIf(opened, answer, weighed, weighed.seals(setting) if step is None else None)


def what_if_record(result: WhatIf) -> dict[str, object]:
    """Return an answer as plain data for JSON, its arrays left out; the give-way order stands with it."""
    opened, answer = result.opened, result.answer
    record = answer_record(opened, answer, result.doubts)
    record = {key: value for key, value in record.items() if key not in ("load", "contact", "quick")}
    order = None
    if answer.step is None:
        order = giveway_rows(opened, answer.setting, result.weighed.order(answer.setting))
    return {
        "prediction": opened.files.prediction.name,
        "setting": result.told,
        **record,
        "give_way": plain(order),
        "assumptions": list(result.assumptions),
        "provenance": dict(opened.files.provenance),
    }
