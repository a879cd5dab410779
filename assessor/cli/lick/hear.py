"""``assessor lick hear``: how a lick sounds, as a file to practise with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.writing import listed
from assessor.cli.options import TEMPO, tempo_option
from assessor.cli.terminal import Number, bad_files, show, write, wrong_value

if TYPE_CHECKING:
    from assessor.demo import Demo, Manner
    from assessor.lick.notation import Lick

SOUND_SUFFIXES = (".wav", ".flac")
MIDI_SUFFIX = ".mid"
USUAL_STEP_BPM, MOST_STEPS = 5.0, 100
LONGEST_S = 1800.0


@click.command()
@click.argument("lick_path", metavar="FILE")
@out_option
@tempo_option("Quarter notes a minute; as written when left out.")
@click.option(
    "--to",
    "to_bpm",
    metavar="BPM",
    type=TEMPO,
    help="Go on to this tempo in steps, each counted in.",
)
@click.option(
    "--by",
    "by_bpm",
    metavar="BPM",
    type=Number(0.5, 100),
    help=f"Size of these steps; {USUAL_STEP_BPM:g} when left out.",
)
@click.option(
    "--repeat",
    "repeats",
    metavar="N",
    type=click.IntRange(1, 200),
    default=1,
    show_default=True,
    help="Times the lick is played at each tempo.",
)
@click.option("--click/--no-click", "clicks", default=True, help="A click, or none.")
@click.option(
    "--count-in",
    "count_in_bars",
    metavar="BARS",
    type=click.IntRange(0, 8),
    default=1,
    show_default=True,
    help="Bars of clicks before each tempo.",
)
@click.option(
    "--over",
    "over",
    metavar="WHAT",
    help='What is held under it: notes "A2 E3", a chord "Am7", one a bar "Dm7 | G7".',
)
@force_option
def hear(
    lick_path: str,
    out: Path,
    tempo_bpm: float | None,
    to_bpm: float | None,
    by_bpm: float | None,
    repeats: int,
    clicks: bool,
    count_in_bars: int,
    over: str | None,
    force: bool,
) -> None:
    """Play the lick in FILE into a sound file (.wav, .flac) or a MIDI file (.mid).

    A MIDI file holds the lick alone, bends on the pitch wheel.
    """
    refuse_wrong_out(out, (*SOUND_SUFFIXES, MIDI_SUFFIX), force=force)
    over_midi = _over(over)
    from assessor import lick
    from assessor.demo import Manner

    with bad_files():
        asked = lick.read(lick_path)
    tempos_bpm = _ladder(tempo_bpm or asked.tempo_bpm, to_bpm, by_bpm)
    manner = Manner(tempos_bpm, repeats, clicks, count_in_bars, over_midi)
    if out.suffix.lower() == MIDI_SUFFIX:
        _write_midi(asked, manner, out)
    else:
        _write_sound(asked, manner, out)
    show(listed(f"changed or left out on reading {lick_path}", asked.notices))


def _over(words: str | None) -> tuple[tuple[int, ...], ...]:
    """MIDI numbers of what is held in each bar."""
    if words is None:
        return ()
    from assessor.demo.over import parse_over

    with wrong_value("--over"):
        return parse_over(words)


def _ladder(
    from_bpm: float, to_bpm: float | None, by_bpm: float | None
) -> tuple[float, ...]:
    """Tempos from one to another, up or down, the last one as asked."""
    if to_bpm is None:
        if by_bpm is not None:
            message = "--by goes with --to"
            raise click.UsageError(message)
        return (from_bpm,)
    by_bpm = by_bpm or USUAL_STEP_BPM
    steps = int(abs(to_bpm - from_bpm) / by_bpm + 1e-9)
    if steps > MOST_STEPS:
        message = f"that makes {steps} steps, more than {MOST_STEPS}; take larger ones"
        raise click.BadParameter(message, param_hint="--by")
    sign = 1 if to_bpm > from_bpm else -1
    tempos = [from_bpm + sign * by_bpm * k for k in range(steps + 1)]
    return tuple(tempos if abs(tempos[-1] - to_bpm) < 1e-9 else [*tempos, to_bpm])


def _write_midi(asked: Lick, manner: Manner, out: Path) -> None:
    """Write the lick alone; what MIDI is not given here is refused."""
    if len(manner.tempos_bpm) > 1 or manner.repeats > 1 or manner.over_midi:
        message = (
            "a MIDI file holds the lick alone: --to, --repeat and --over go with "
            ".wav and .flac"
        )
        raise click.BadParameter(message, param_hint="--out")
    from assessor.lick import midi

    write(out, midi.write(asked.at_tempo(manner.tempos_bpm[0])))
    show(f"{out}: {asked.title}, {manner.tempos_bpm[0]:g} bpm\n")


def _write_sound(asked: Lick, manner: Manner, out: Path) -> None:
    """Write WAV or FLAC."""
    from assessor.demo import length_s, play, sound_file

    promised_s = length_s(asked, manner)
    if promised_s > LONGEST_S:
        message = (
            f"that lasts {promised_s / 60:.0f} minutes, more than {LONGEST_S / 60:.0f}"
            "; take fewer repeats or larger steps"
        )
        raise click.BadParameter(message, param_hint="--repeat")
    demo: Demo = play(asked, manner)
    write(out, sound_file(demo.samples, out.suffix.lower().removeprefix(".")))
    tempos = " ".join(f"{tempo:g}" for tempo in manner.tempos_bpm)
    show(f"{out}: {asked.title}, {demo.duration_s:.1f} s, {tempos} bpm\n")
