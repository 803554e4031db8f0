"""Calls as the far end records them: speech over noise, and what comes back."""

from __future__ import annotations

from collections.abc import Sequence

from conewright.errors import BadInputError
from conewright.sound.measured.speech import call_gain, call_level, echo, expected_gain
from conewright.sound.recorded.recording import Recording
from conewright.stages.prove.draft import Draft
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number, signed

__all__ = ["calls", "echoes"]

FAR_END = "whether the far end understands at 100 km/h stays its own word"


def calls(draft: Draft, recordings: Sequence[Recording]) -> None:
    """Tell speech over noise of one call, or of two, before and after."""
    levels = [call_level(each.samples[0], rate=each.rate) for each in recordings]
    for name, level in zip(("before", "after"), levels, strict=False):
        draft.figure(
            f"call_snr_{name}",
            level.snr,
            unit="dB",
            label=f"speech over noise {name} the work",
            ends=(level.snr - level.snr_band, level.snr + level.snr_band),
        )
        if level.suppressed:
            draft.verdict(
                f"call_{name}",
                Severity.NOTE,
                f"The pauses of the call {name} are silent: a network or a telephone cleans it, so "
                "that its figure says nothing of the microphone. Judge it by ear.",
                f"call_snr_{name}",
            )
    if len(levels) == 1:
        draft.sentences.append(f"Speech stands {number(levels[0].snr, 'dB')} over the noise.")
        return
    gain = call_gain(before=levels[0], after=levels[1])
    draft.figure(
        "call_snr_gain",
        gain.gain,
        unit="dB",
        label="gain of speech over noise",
        ends=(gain.gain - gain.band, gain.gain + gain.band),
    )
    details = draft.details
    if details.mouth_before is not None and details.mouth_after is not None:
        nearer = expected_gain(before=details.mouth_before, after=details.mouth_after)
        draft.figure(
            "call_snr_gain_expected",
            float(nearer),
            unit="dB",
            label="gain expected of the microphone's new place",
        )
    told = f"Speech over noise changed by {signed(number(gain.gain, 'dB'))}"
    draft.sentences.append(f"{told}; {FAR_END}.")
    good = gain.trusted and gain.gain - gain.band > 0.0
    draft.verdict(
        "call", Severity.GOOD if good else Severity.NOTE, f"{told}; {FAR_END}.", "call_snr_gain"
    )


def echoes(draft: Draft, recordings: Sequence[Recording]) -> None:
    """Tell what comes back of speech that was sent."""
    sent, returned = recordings
    if sent.rate != returned.rate:
        raise BadInputError(
            f"{returned.name}: found {returned.rate:g} samples a second, {sent.name} has "
            f"{sent.rate:g}; both of one recorder and one clock are wanted"
        )
    found = echo(sent.samples[0], returned=returned.samples[0], rate=sent.rate)
    draft.figure(
        "echo_delay",
        found.delay,
        unit="s",
        label="how much later it comes back",
        ends=(found.delay - found.delay_band, found.delay + found.delay_band),
    )
    draft.figure(
        "echo_level",
        found.level,
        unit="dB",
        label="what comes back against what was sent",
        ends=(found.level - found.level_band, found.level + found.level_band),
    )
    told = f"{number(found.level, 'dB')} comes back after {number(1e3 * found.delay, 'ms')}"
    draft.sentences.append(f"{told}.")
    severity = Severity.WARN if found.complaint else Severity.GOOD
    end = "the far end is likely to complain" if found.complaint else "nobody is likely to mind"
    draft.verdict("echo", severity, f"{told}: {end}.", "echo_level", "echo_delay")
