"""From what is known to a verdict, always with its reasons: of seals, and of fasteners."""

from firedeck.verdict.fasteners import ClampVerdict, PartVerdict, judge_clamp
from firedeck.verdict.seals import SealVerdict, Verdict, judge
from firedeck.verdict.state import Reason, State

__all__ = [
    "ClampVerdict",
    "PartVerdict",
    "Reason",
    "SealVerdict",
    "State",
    "Verdict",
    "judge",
    "judge_clamp",
]
