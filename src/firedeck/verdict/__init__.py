"""From what is known to a verdict, always with its reasons: of seals, of fasteners, of a predicted joint."""

from firedeck.verdict.fasteners import ClampVerdict, PartVerdict, judge_clamp
from firedeck.verdict.predicted import RuleMargin, SealMargin, judge_margins, judge_seal
from firedeck.verdict.seals import SealVerdict, Verdict, judge
from firedeck.verdict.state import Reason, State

__all__ = [
    "ClampVerdict",
    "PartVerdict",
    "Reason",
    "RuleMargin",
    "SealMargin",
    "SealVerdict",
    "State",
    "Verdict",
    "judge",
    "judge_clamp",
    "judge_margins",
    "judge_seal",
]
