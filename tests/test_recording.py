"""Recordings of every kind: what is read, what is refused, what is flagged."""

from __future__ import annotations

import hashlib
import io
import os
import struct
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from assessor import decoding, recording, sound_check
from assessor.errors import RecordingError
from assessor.recording import Recording, from_array, read

RATE_HZ = 44_100
SECONDS = 2.0
# Signal over error after a round trip.  Integers: 6 dB to the bit, less what a peak
# of -6 dBFS and a pluck's fading cost (measured: 33, 82, 131 dB); floats beyond that.
LOSSLESS_DB = {8: 32.0, 16: 80.0, 24: 128.0, 32: 175.0}
LOSSY_DB = 30.0  # at the codecs' best settings (measured: 33 to 71 dB)
AAC_FRAME_SAMPLES = 1024
NOISE_TOLERANCE_DB = 1.0  # half a second of noise, and its quietest at that

Samples = npt.NDArray[np.float32]


def pluck(
    seconds: float = SECONDS, rate_hz: int = RATE_HZ, gain: float = 0.5
) -> Samples:
    """Notes on A3, C4, E4: harmonics that fade, a rest at the end."""
    times_s = np.arange(round(seconds * rate_hz)) / rate_hz
    sound = np.zeros_like(times_s)
    step_s = (seconds - 0.3) / 3
    for k, f0_hz in enumerate((220.0, 261.63, 329.63)):
        inside = (times_s >= k * step_s) & (times_s < (k + 1) * step_s)
        local = times_s[inside] - k * step_s
        for partial in range(1, 6):
            wave = np.sin(2 * np.pi * f0_hz * partial * local) / partial
            sound[inside] += wave * np.exp(-local * (3 + partial))
        sound[inside] *= np.minimum(1, (step_s - local) / 0.02)
    sound -= sound.mean()
    return (gain * sound / np.abs(sound).max()).astype(np.float32)


def fidelity_db(got: Samples, source: Samples, shift_samples: int = 0) -> float:
    """Power of the source over that of the difference, the shift undone."""
    best = -np.inf
    for shift in range(-shift_samples, shift_samples + 1):
        a = got[max(0, shift) :]
        b = source[max(0, -shift) :]
        count = min(len(a), len(b))
        error = np.sum(np.square(a[:count] - b[:count]), dtype=np.float64)
        power = np.sum(np.square(b[:count]), dtype=np.float64)
        best = max(best, float(10 * np.log10(power / max(error, 1e-30))))
    return best


def write_best(
    path: Path, source: Samples, rate_hz: int, kind: str, subtype: str
) -> None:
    """Write with soundfile at the codec's best setting."""
    best: dict[str, Any] = {"compression_level": 0} if kind in ("OGG", "MP3") else {}
    if kind == "MP3":
        best["bitrate_mode"] = "CONSTANT"
    soundfile.write(path, source, rate_hz, format=kind, subtype=subtype, **best)


def kinds(take: Recording) -> list[str]:
    """Kinds of the flags raised, in order of name."""
    return sorted(flag.kind for flag in take.flags)


def encode(
    path: Path, codec: str, *, rate_hz: int = RATE_HZ, video: str = "", **options: str
) -> Samples:
    """Write the pluck with PyAV, beside two seconds of pictures if asked."""
    source = pluck(rate_hz=rate_hz)
    container_format = options.pop("format", None)
    with av.open(str(path), "w", format=container_format, options=options) as out:
        if video:
            pictures = out.add_stream(video, rate=25)
            pictures.width, pictures.height, pictures.pix_fmt = 64, 64, "yuv420p"
        stream = out.add_stream(codec, rate=rate_hz, layout="mono")
        stream.bit_rate = 192_000
        if video:
            for k in range(round(25 * SECONDS)):
                picture = av.VideoFrame(64, 64, "yuv420p")
                picture.pts = k
                out.mux(pictures.encode(picture))
            out.mux(pictures.encode(None))
        frame = av.AudioFrame.from_ndarray(source[np.newaxis], "fltp", "mono")
        frame.sample_rate, frame.pts = rate_hz, 0
        convert = av.AudioResampler(stream.format.name, "mono", rate_hz)
        for part in [*convert.resample(frame), *convert.resample(None)]:
            out.mux(stream.encode(part))
        out.mux(stream.encode(None))
    return source


# --- What is read -----------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "subtype", "least_db"),
    [
        ("WAV", "PCM_U8", LOSSLESS_DB[8]),
        ("WAV", "PCM_16", LOSSLESS_DB[16]),
        ("WAV", "PCM_24", LOSSLESS_DB[24]),
        ("WAV", "PCM_32", LOSSLESS_DB[32]),
        ("WAV", "FLOAT", LOSSLESS_DB[32]),
        ("WAV", "DOUBLE", LOSSLESS_DB[32]),
        ("WAVEX", "PCM_24", LOSSLESS_DB[24]),
        ("RF64", "PCM_16", LOSSLESS_DB[16]),
        ("W64", "PCM_16", LOSSLESS_DB[16]),
        ("AU", "PCM_16", LOSSLESS_DB[16]),
        ("FLAC", "PCM_S8", LOSSLESS_DB[8]),
        ("FLAC", "PCM_16", LOSSLESS_DB[16]),
        ("FLAC", "PCM_24", LOSSLESS_DB[24]),
        ("AIFF", "PCM_S8", LOSSLESS_DB[8]),
        ("AIFF", "PCM_16", LOSSLESS_DB[16]),
        ("AIFF", "FLOAT", LOSSLESS_DB[32]),
        ("CAF", "PCM_24", LOSSLESS_DB[24]),
        ("CAF", "DOUBLE", LOSSLESS_DB[32]),
    ],
)
def test_lossless_round_trip(
    tmp_path: Path, kind: str, subtype: str, least_db: float
) -> None:
    """What was written comes back, to the last bit of the format."""
    source = pluck()
    path = tmp_path / "take"
    soundfile.write(path, source, RATE_HZ, format=kind, subtype=subtype)
    take = read(path)
    assert take.sample_rate_hz == RATE_HZ
    assert len(take.samples) == len(source)
    assert fidelity_db(take.samples, source) > least_db
    assert kinds(take) == []


@pytest.mark.parametrize(
    ("kind", "subtype", "rate_hz", "least_db"),
    [
        ("OGG", "VORBIS", 44_100, LOSSY_DB),
        ("OGG", "OPUS", 48_000, LOSSY_DB),
        ("MP3", "MPEG_LAYER_III", 44_100, LOSSY_DB),
    ],
)
def test_lossy_round_trip(
    tmp_path: Path, kind: str, subtype: str, rate_hz: int, least_db: float
) -> None:
    """Compressed sound comes back recognisable and in its place."""
    source = pluck(rate_hz=rate_hz)
    path = tmp_path / "take"
    write_best(path, source, rate_hz, kind, subtype)
    take = read(path)
    assert take.sample_rate_hz == rate_hz
    assert fidelity_db(take.samples, source) > least_db
    assert kinds(take) == []


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "video", "shift_samples", "least_db"),
    [
        ("take.m4a", "aac", 44_100, "", 0, LOSSY_DB),
        ("take.m4a", "alac", 44_100, "", 0, LOSSLESS_DB[16]),
        ("take.mp4", "aac", 48_000, "mpeg4", 0, LOSSY_DB),
        ("take.mov", "aac", 44_100, "mpeg4", 0, LOSSY_DB),
        ("take.mov", "pcm_s24le", 96_000, "mpeg4", 0, LOSSLESS_DB[24]),
        ("take.webm", "libopus", 48_000, "", 0, LOSSY_DB),
        ("take.webm", "libopus", 48_000, "libvpx", 0, LOSSY_DB),
        ("take.mkv", "pcm_f64le", 44_100, "", 0, LOSSLESS_DB[32]),
        ("take.avi", "pcm_u8", 44_100, "mpeg4", 0, LOSSLESS_DB[8]),
        ("take.aac", "aac", 44_100, "", AAC_FRAME_SAMPLES, LOSSY_DB),  # no edit list
    ],
)
def test_containers(
    tmp_path: Path,
    name: str,
    codec: str,
    rate_hz: int,
    video: str,
    shift_samples: int,
    least_db: float,
) -> None:
    """Phones' and browsers' files are read, with pictures or without."""
    source = encode(tmp_path / name, codec, rate_hz=rate_hz, video=video)
    take = read(tmp_path / name)
    assert take.sample_rate_hz == rate_hz
    assert take.duration_s == pytest.approx(
        SECONDS, abs=2 * AAC_FRAME_SAMPLES / rate_hz
    )
    assert fidelity_db(take.samples, source, shift_samples) > least_db
    assert kinds(take) == []


@pytest.mark.parametrize("rate_hz", [8000, 11025, 22050, 44100, 48000, 96000, 192000])
def test_sampling_rate_is_kept(tmp_path: Path, rate_hz: int) -> None:
    """From 8 to 192 kHz, inclusive, nothing is resampled."""
    path = tmp_path / "take.wav"
    soundfile.write(path, pluck(rate_hz=rate_hz), rate_hz, subtype="PCM_16")
    take = read(path)
    assert take.sample_rate_hz == rate_hz
    assert take.duration_s == pytest.approx(SECONDS, abs=1e-3)
    assert kinds(take) == []


def test_content_counts_not_the_name(tmp_path: Path) -> None:
    """A wrong or unknown suffix changes nothing."""
    source = pluck()
    for name in ("take.mp3", "take.raw", "take.vox", "take.txt", "take", "täke 1.wav"):
        soundfile.write(tmp_path / name, source, RATE_HZ, format="WAV")
        take = read(tmp_path / name)
        assert fidelity_db(take.samples, source) > LOSSLESS_DB[16]
        assert take.name == name


def test_digest_is_that_of_the_bytes(tmp_path: Path) -> None:
    """SHA-256 of the file; FIPS 180-4's own example for three known bytes."""
    path = tmp_path / "take.wav"
    soundfile.write(path, pluck(), RATE_HZ)
    assert read(str(path)).digest == hashlib.sha256(path.read_bytes()).hexdigest()
    (tmp_path / "abc").write_bytes(b"abc")
    assert recording._digest(f"{tmp_path}/abc").startswith("ba7816bf8f01cfea")


def test_samples_are_read_only(tmp_path: Path) -> None:
    """Nobody can write into a recording, nor through the array it was made from."""
    soundfile.write(tmp_path / "take.wav", pluck(), RATE_HZ)
    with pytest.raises(ValueError, match="read-only"):
        read(tmp_path / "take.wav").samples[0] = 1
    mine = pluck()
    kept = Recording(mine, RATE_HZ, "take", "")
    mine[:] = 0
    assert kept.samples.any()
    with pytest.raises(ValueError, match="read-only"):
        kept.samples[0] = 1


def test_offset_is_removed(tmp_path: Path) -> None:
    """A constant in the sound card's output is gone, the rest is untouched."""
    source = pluck(gain=0.3)
    soundfile.write(tmp_path / "take.wav", source + 0.2, RATE_HZ, subtype="FLOAT")
    take = read(tmp_path / "take.wav")
    assert abs(float(take.samples.mean())) < 1e-6
    assert fidelity_db(take.samples, source) > 100


@pytest.mark.parametrize("gain", [1e-3, 0.1, 1.9])
def test_level_scales_through(gain: float) -> None:
    """Samples follow the gain, and only the cautions about level change."""
    noise = np.random.default_rng(1).normal(0, 0.1, len(pluck())).astype(np.float32)
    plain, scaled = (
        from_array(pluck() + noise, RATE_HZ),
        from_array(np.float32(gain) * (pluck() + noise), RATE_HZ),
    )
    assert fidelity_db(scaled.samples, np.float32(gain) * plain.samples) > 120
    noisy = [
        flag for take in (plain, scaled) for flag in take.flags if flag.kind == "noisy"
    ]
    assert noisy[0].value == pytest.approx(noisy[1].value, abs=0.01)


# --- Channels ---------------------------------------------------------------


@pytest.mark.parametrize("channels", range(1, 9))
def test_equal_channels_give_the_same_as_one(tmp_path: Path, channels: int) -> None:
    """One to eight channels with the same sound mix to that sound."""
    source = pluck()
    many = np.repeat(source[:, np.newaxis], channels, axis=1)
    soundfile.write(tmp_path / "take.wav", many, RATE_HZ, subtype="FLOAT")
    take = read(tmp_path / "take.wav")
    assert fidelity_db(take.samples, source) > 120
    assert kinds(take) == []


@pytest.mark.parametrize("channels", [2, 8])
@pytest.mark.parametrize("place", [0, -1])
@pytest.mark.parametrize("other", [0.0, 0.001])
def test_one_channel_holds_the_signal(channels: int, place: int, other: float) -> None:
    """The other channels' silence or noise is not mixed in."""
    random = np.random.default_rng(2)
    many = (other * random.normal(size=(len(pluck()), channels))).astype(np.float32)
    many[:, place] = pluck()
    assert fidelity_db(from_array(many, RATE_HZ).samples, pluck()) > 120


def test_an_offset_is_no_signal() -> None:
    """A channel that holds only a constant counts as silent."""
    stereo = np.stack([pluck(), np.full_like(pluck(), 0.8)], axis=1)
    assert fidelity_db(from_array(stereo, RATE_HZ).samples, pluck()) > 100


@pytest.mark.parametrize(("level_db", "mixed"), [(-19.0, True), (-21.0, False)])
def test_faint_channels(level_db: float, mixed: bool) -> None:
    """From 20 dB below the loudest on a channel is left out of the mean."""
    faint = pluck() * np.float32(10 ** (level_db / 20))
    take = from_array(np.stack([pluck(), faint], axis=1), RATE_HZ)
    expected = (pluck() + faint) / 2 if mixed else pluck()
    assert fidelity_db(take.samples, expected) > 100


@pytest.mark.parametrize(("correlation", "flagged"), [(-0.49, False), (-0.51, True)])
def test_out_of_phase(correlation: float, flagged: bool) -> None:
    """Channels that would cancel are flagged, and the louder one is used."""
    source = pluck()
    beside = np.random.default_rng(3).normal(size=len(source))
    beside -= source * (beside @ source) / (source @ source)
    beside *= np.sqrt((source @ source) / (beside @ beside))
    other = correlation * source + np.sqrt(1 - correlation**2) * beside
    stereo = np.stack([1.01 * source, other], axis=1).astype(np.float32)
    take = from_array(stereo - stereo.mean(axis=0), RATE_HZ)
    assert ("out_of_phase" in kinds(take)) is flagged
    if flagged:
        flag = next(flag for flag in take.flags if flag.kind == "out_of_phase")
        assert flag.value == pytest.approx(correlation, abs=1e-3)
        assert flag.limit == -0.5
        assert fidelity_db(take.samples, np.float32(1.01) * source) > 100


def test_opposite_stereo_file_is_not_silence(tmp_path: Path) -> None:
    """A stereo file with one side upside down keeps its sound."""
    stereo = np.stack([pluck(), -pluck()], axis=1)
    soundfile.write(tmp_path / "take.flac", stereo, RATE_HZ)
    take = read(tmp_path / "take.flac")
    assert kinds(take) == ["out_of_phase"]
    assert fidelity_db(take.samples, pluck()) > 70


# --- What is refused --------------------------------------------------------


def refusal(path: Path, **options: float) -> RecordingError:
    """Read what must be refused; the error names the file."""
    with pytest.raises(RecordingError) as caught:
        read(path, **options)
    assert caught.value.path == str(path)
    assert str(caught.value).startswith(f"{path}: ")
    return caught.value


def test_no_such_file(tmp_path: Path) -> None:
    """A missing file, a directory and a device say what they are."""
    assert "no such file" in refusal(tmp_path / "nothing.wav").message
    assert "directory" in refusal(tmp_path).message
    assert "device" in refusal(Path(os.devnull)).message


def test_empty_file(tmp_path: Path) -> None:
    """Zero bytes."""
    (tmp_path / "take.wav").touch()
    error = refusal(tmp_path / "take.wav")
    assert "empty" in error.message
    assert (error.measured, error.unit) == (0, "bytes")


def test_header_without_sound(tmp_path: Path) -> None:
    """A proper file with no samples in it."""
    soundfile.write(tmp_path / "take.wav", np.zeros(0), RATE_HZ)
    error = refusal(tmp_path / "take.wav")
    assert "no sound" in error.message
    assert (error.measured, error.limit, error.unit) == (0, 1, "samples")


@pytest.mark.parametrize(
    "content",
    [
        b"A letter to a friend.\n" * 50,
        b"title: Morning walk\ntempo: 96\n",
        b"\x89PNG\r\n\x1a\n" + bytes(200),
        b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk\0\0\0\4\0\xff\x2f\0",
        b"RIFF",
        b"RIFF\x24\0\0\0WAVEfmt ",
        b"\0",
        bytes(10_000),
        np.random.default_rng(4).bytes(20_000),
    ],
    ids=["letter", "lick", "picture", "midi", "riff", "cut", "byte", "zeros", "random"],
)
@pytest.mark.parametrize("suffix", [".wav", ".mp3", ".txt", ".mp4"])
def test_not_sound(tmp_path: Path, content: bytes, suffix: str) -> None:
    """Whatever its name says, what is no sound is refused."""
    path = tmp_path / f"take{suffix}"
    path.write_bytes(content)
    assert "no sound file" in refusal(path).message


@pytest.mark.parametrize(
    "playlist",
    ["#EXTM3U\n#EXTINF:2,\ntake.m4a\n", "ffconcat version 1.0\nfile take.m4a"],
)
def test_playlists_are_not_followed(tmp_path: Path, playlist: str) -> None:
    """A file cannot make the reader open another one."""
    encode(tmp_path / "take.m4a", "aac")
    path = tmp_path / "list.m3u8"
    path.write_text(playlist)
    assert "no sound file" in refusal(path).message


def test_video_without_sound(tmp_path: Path) -> None:
    """Pictures alone."""
    path = tmp_path / "take.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        out.mux(stream.encode(av.VideoFrame(64, 64, "yuv420p")))
        out.mux(stream.encode(None))
    assert "pictures but no sound" in refusal(path).message


@pytest.mark.parametrize("kept", [0.2, 0.6, 0.95])
@pytest.mark.parametrize("kind", ["WAV", "WAVEX", "AIFF", "FLAC", "MP3"])
def test_cut_short(tmp_path: Path, kind: str, kept: float) -> None:
    """A file that breaks off says how much was read and how much there should be."""
    path = tmp_path / "take"
    write_best(path, pluck(8.0), RATE_HZ, kind, soundfile.default_subtype(kind))
    whole = path.read_bytes()
    path.write_bytes(whole[: int(kept * len(whole))])
    error = refusal(path)
    assert "breaks off" in error.message
    assert "save the part that is there" in error.message
    assert error.unit == "s"
    assert error.limit == pytest.approx(8.0, abs=0.1)
    assert error.measured is not None
    assert error.measured == pytest.approx(
        8.0 * kept, abs=2.0 if kind == "FLAC" else 0.3
    )
    assert f"{error.measured:.1f} s of 8.0 s" in error.message


@pytest.mark.parametrize(
    ("kind", "subtype"), [("CAF", "PCM_16"), ("OGG", "VORBIS"), ("OGG", "OPUS")]
)
def test_cut_short_without_a_promise(tmp_path: Path, kind: str, subtype: str) -> None:
    """Where the length is not known, what was read is."""
    path = tmp_path / "take"
    soundfile.write(path, pluck(8.0, 48_000), 48_000, format=kind, subtype=subtype)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    error = refusal(path)
    assert "breaks off" in error.message
    assert error.measured is not None
    assert 1.0 < error.measured < 7.0
    assert error.limit is None


@pytest.mark.parametrize(
    ("name", "codec", "options", "readable"),
    [
        ("take.m4a", "aac", {}, False),  # the index stands at the end
        ("take.m4a", "aac", {"movflags": "faststart"}, True),
        ("take.mp4", "aac", {"movflags": "frag_keyframe+empty_moov"}, True),
        ("take.mov", "aac", {}, False),
        ("take.webm", "libopus", {}, True),
    ],
)
def test_cut_containers(
    tmp_path: Path, name: str, codec: str, options: dict[str, str], readable: bool
) -> None:
    """Phones' and browsers' files that break off are refused as such."""
    rate_hz = 48_000
    encode(tmp_path / name, codec, rate_hz=rate_hz, **options)
    whole = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(whole[: int(0.6 * len(whole))])
    error = refusal(tmp_path / name)
    assert "breaks off" in error.message
    assert error.measured is not None
    assert (0.5 < error.measured < 1.8) if readable else error.measured == 0


def test_cut_after_the_header(tmp_path: Path) -> None:
    """A WAV that promises sound and holds none has broken off, it is not empty."""
    soundfile.write(tmp_path / "take.wav", pluck(), RATE_HZ)
    whole = (tmp_path / "take.wav").read_bytes()
    (tmp_path / "take.wav").write_bytes(whole[: whole.index(b"data") + 8])
    error = refusal(tmp_path / "take.wav")
    assert "breaks off" in error.message
    assert error.measured == 0


def test_cut_behind_a_chunk_of_odd_length(tmp_path: Path) -> None:
    """Chunks are padded to an even length (Multimedia Programming Interface, 1991)."""
    soundfile.write(tmp_path / "take.wav", pluck(8.0), RATE_HZ, subtype="PCM_16")
    whole = (tmp_path / "take.wav").read_bytes()
    note = b"note" + struct.pack("<I", 5) + b"hello\0"
    longer = whole[:12] + note + whole[12:]
    (tmp_path / "take.wav").write_bytes(longer)
    assert read(tmp_path / "take.wav").duration_s == 8.0
    (tmp_path / "take.wav").write_bytes(longer[: len(longer) // 2])
    assert "breaks off" in refusal(tmp_path / "take.wav").message


def test_container_without_its_index(tmp_path: Path) -> None:
    """A phone that died while recording leaves an MP4 without the box ``moov``."""
    encode(tmp_path / "take.m4a", "aac")
    whole = (tmp_path / "take.m4a").read_bytes()
    (tmp_path / "take.m4a").write_bytes(whole[: whole.index(b"moov") - 4])
    error = refusal(tmp_path / "take.m4a")
    assert "breaks off" in error.message
    assert error.measured == 0


@pytest.mark.parametrize(
    ("size", "cut"),
    [
        (b"\x10\x00\x10\x00", True),
        (b"\x10\x00\x00\x08", False),
        (b"\x1f\xff\xff\xff", False),
    ],
    ids=["4096", "8", "unknown"],
)
def test_promise_of_a_webm(tmp_path: Path, size: bytes, cut: bool) -> None:
    """A size of ones only is unknown, as in a live stream (RFC 8794, 4)."""
    header = b"\x1a\x45\xdf\xa3\x80" + b"\x18\x53\x80\x67" + size
    (tmp_path / "take.webm").write_bytes(header + bytes(8))
    share = decoding._written_share(tmp_path / "take.webm")
    assert (share is not None and share < 1) is cut


@pytest.mark.parametrize("length", [0, 0xFFFFFFFF, 0x7FFFFFFF])
def test_recorder_that_never_wrote_the_length(tmp_path: Path, length: int) -> None:
    """A WAV without a length is read to its end, not refused."""
    memory = io.BytesIO()
    soundfile.write(memory, pluck(), RATE_HZ, format="WAV", subtype="PCM_16")
    content = bytearray(memory.getvalue())
    place = content.index(b"data") + 4
    content[place : place + 4] = struct.pack("<I", length)
    (tmp_path / "take.wav").write_bytes(content)
    assert fidelity_db(read(tmp_path / "take.wav").samples, pluck()) > LOSSLESS_DB[16]


def test_flac_without_a_length(tmp_path: Path) -> None:
    """A streamed FLAC (RFC 9639: 0 total samples) is read to its last sample."""
    memory = io.BytesIO()
    soundfile.write(memory, pluck(), RATE_HZ, format="FLAC", subtype="PCM_16")
    content = bytearray(memory.getvalue())
    content[21] &= 0xF0
    content[22:26] = bytes(4)
    (tmp_path / "take.flac").write_bytes(content)
    take = read(tmp_path / "take.flac")
    assert len(take.samples) == len(pluck())
    assert fidelity_db(take.samples, pluck()) > LOSSLESS_DB[16]


def test_mp3_without_a_length(tmp_path: Path) -> None:
    """Without a Xing frame the length is only guessed; no guess refuses a file."""
    source = np.concatenate([np.zeros(3 * RATE_HZ, np.float32), pluck(), pluck()])
    memory = io.BytesIO()
    soundfile.write(memory, source, RATE_HZ, format="MP3", bitrate_mode="VARIABLE")
    content = memory.getvalue()
    second = content.index(content[:2], 4)
    assert b"Xing" in content[:second]
    (tmp_path / "take.mp3").write_bytes(content[second:])
    take = read(tmp_path / "take.mp3")
    assert take.duration_s == pytest.approx(len(source) / RATE_HZ, abs=0.06)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("channels", [1, 2])
def test_samples_that_are_no_numbers(
    tmp_path: Path, value: float, channels: int
) -> None:
    """NaN and infinity are counted and refused."""
    many = np.repeat(pluck()[:, np.newaxis], channels, axis=1)
    many[[5, 50_000], -1] = value
    soundfile.write(tmp_path / "take.wav", many, RATE_HZ, subtype="FLOAT")
    error = refusal(tmp_path / "take.wav")
    assert "no numbers" in error.message
    assert (error.measured, error.limit, error.unit) == (2, 0, "samples")


@pytest.mark.parametrize("constant", [0.0, 0.5])
def test_silence(tmp_path: Path, constant: float) -> None:
    """Nothing, or nothing but an offset."""
    soundfile.write(tmp_path / "take.wav", np.full(RATE_HZ, constant), RATE_HZ)
    error = refusal(tmp_path / "take.wav")
    assert "silent" in error.message
    assert (error.limit, error.unit) == (-70.0, "dBFS")


@pytest.mark.parametrize(("peak_dbfs", "silent"), [(-69.9, False), (-70.1, True)])
def test_just_not_silent(peak_dbfs: float, silent: bool) -> None:
    """The limit is the loudest sample."""
    tone = np.sin(2 * np.pi * 0.01 * np.arange(RATE_HZ)) * 10 ** (peak_dbfs / 20)
    if silent:
        with pytest.raises(RecordingError, match="silent"):
            from_array(tone, RATE_HZ)
    else:
        assert "quiet" in kinds(from_array(tone, RATE_HZ))


def test_shorter_than_asked(tmp_path: Path) -> None:
    """Exactly as long as asked will do; a sample less will not."""
    path = tmp_path / "take.wav"
    soundfile.write(path, pluck(1.0), RATE_HZ)
    assert read(path, shortest_s=1.0).duration_s == 1.0
    error = refusal(path, shortest_s=1.0 + 1 / RATE_HZ)
    assert "lasts 1.00 s" in error.message
    assert (error.measured, error.unit) == (1.0, "s")


@pytest.mark.parametrize(("rate_hz", "limit_hz"), [(7999, 8000), (192_001, 192_000)])
def test_sampling_rates_out_of_range(
    tmp_path: Path, rate_hz: int, limit_hz: int
) -> None:
    """One hertz outside."""
    soundfile.write(tmp_path / "take.wav", pluck(), rate_hz)
    error = refusal(tmp_path / "take.wav")
    assert (error.measured, error.limit, error.unit) == (rate_hz, limit_hz, "Hz")


def test_too_many_channels(tmp_path: Path) -> None:
    """Nine."""
    soundfile.write(tmp_path / "take.wav", np.ones((100, 9)) / 2, RATE_HZ)
    error = refusal(tmp_path / "take.wav")
    assert (error.measured, error.limit, error.unit) == (9, 8, "channels")


def test_integers_kept_as_floats() -> None:
    """Samples of ±32,768 are refused with what to do, floats above ±1 are not."""
    with pytest.raises(RecordingError, match="scale floating-point samples"):
        from_array(32768 * pluck(), RATE_HZ, "mine")
    assert kinds(from_array(4 * pluck(), RATE_HZ)) == []


def test_wrong_calls() -> None:
    """Integers and cubes are no sound."""
    with pytest.raises(TypeError, match="int16"):
        from_array(np.zeros(9, np.int16), RATE_HZ)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"\(2, 2, 2\)"):
        from_array(np.zeros((2, 2, 2)), RATE_HZ)


# --- What is flagged --------------------------------------------------------


def tone(rate_hz: int, level_dbfs: float, seconds: float = 4.0) -> Samples:
    """A steady sine at A3 whose power is `level_dbfs`."""
    times_s = np.arange(round(seconds * rate_hz)) / rate_hz
    peak = np.sqrt(2) * 10 ** (level_dbfs / 20)
    return (peak * np.sin(2 * np.pi * 220 * times_s)).astype(np.float32)


def flag_of(take: Recording, kind: str) -> sound_check.Flag | None:
    """The flag of one kind, if raised, checked for what every flag has."""
    for flag in take.flags:
        assert flag.message
        assert flag.unit
        if flag.kind == kind:
            return flag
    return None


@pytest.mark.parametrize(("level_dbfs", "flagged"), [(-39.9, False), (-40.1, True)])
def test_quiet(level_dbfs: float, flagged: bool) -> None:
    """Playing softer than -40 dBFS."""
    flag = flag_of(from_array(tone(RATE_HZ, level_dbfs), RATE_HZ), "quiet")
    assert (flag is not None) is flagged
    if flag:
        assert flag.value == pytest.approx(level_dbfs, abs=0.01)
        assert flag.limit == -40.0


@pytest.mark.parametrize("top", [1.0, -1.0, 0.99997])
@pytest.mark.parametrize(("share", "flagged"), [(0.001, False), (0.00101, True)])
def test_clipped(top: float, share: float, flagged: bool) -> None:
    """More than a thousandth of the playing at full scale, of either sign."""
    samples = tone(RATE_HZ, -10.0, seconds=20.0)
    count = int(share * len(samples))
    samples[1000 : 1000 + 100 * count : 100] = top
    flag = flag_of(from_array(samples, RATE_HZ), "clipped")
    assert (flag is not None) is flagged
    if flag:
        assert flag.value == pytest.approx(count / len(samples), rel=1e-3)


def test_rests_do_not_hide_clipping(tmp_path: Path) -> None:
    """The share is of the playing, not of the file."""
    hard = np.clip(4 * pluck(), -1, 1)
    alone = from_array(hard, RATE_HZ)
    padded = from_array(np.concatenate([hard, np.zeros(60 * RATE_HZ)]), RATE_HZ)
    assert kinds(alone) == kinds(padded) == ["clipped"]
    for kind in ("WAV", "FLAC", "MP3"):
        write_best(
            tmp_path / kind, hard, RATE_HZ, kind, soundfile.default_subtype(kind)
        )
        assert kinds(read(tmp_path / kind)) == ["clipped"]


def test_clipping_in_a_long_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The share is the same when the samples are kept at another rate."""
    hard = np.clip(4 * pluck(rate_hz=96_000), -1, 1)
    soundfile.write(tmp_path / "take.wav", hard, 96_000)
    whole = flag_of(read(tmp_path / "take.wav"), "clipped")
    monkeypatch.setattr(recording, "LONG_S", 1.0)
    thin = read(tmp_path / "take.wav")
    assert thin.sample_rate_hz < 96_000
    assert whole
    clipped = flag_of(thin, "clipped")
    assert clipped
    assert clipped.value == pytest.approx(whole.value, rel=0.01)


@pytest.mark.parametrize("name", ["take.m4a", "take.mov", "take.webm", "take.ogg"])
def test_long_recordings_of_every_kind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Phones' and browsers' files tell their length before they are decoded."""
    monkeypatch.setattr(recording, "LONG_S", 1.0)
    codec = "aac" if name in ("take.m4a", "take.mov") else "libopus"
    encode(tmp_path / name, codec, rate_hz=48_000)
    assert read(tmp_path / name).sample_rate_hz == recording.LONG_RATE_HZ


def test_eight_bit_clipping(tmp_path: Path) -> None:
    """Eight bits end at 127 / 128."""
    hard = np.clip(4 * pluck(), -0.5, 1)
    soundfile.write(tmp_path / "take.wav", hard, RATE_HZ, subtype="PCM_U8")
    assert "clipped" in kinds(read(tmp_path / "take.wav"))


def test_floats_above_full_scale_are_not_clipping(tmp_path: Path) -> None:
    """A floating-point file that was never cut off loses nothing above ±1."""
    soundfile.write(tmp_path / "take.wav", 4 * pluck(), RATE_HZ, subtype="FLOAT")
    assert kinds(read(tmp_path / "take.wav")) == []


def test_overdrive_is_not_clipping() -> None:
    """A square-topped sound below full scale is the player's, not the recorder's."""
    assert kinds(from_array(0.5 * np.tanh(60 * pluck()), RATE_HZ)) == []


def test_normalised_sound_is_not_clipping(tmp_path: Path) -> None:
    """A take whose loudest samples just reach full scale."""
    full = pluck() / np.abs(pluck()).max()
    soundfile.write(tmp_path / "take.wav", full, RATE_HZ, subtype="PCM_16")
    assert kinds(read(tmp_path / "take.wav")) == []


def with_rests(rate_hz: int) -> Samples:
    """A steady tone of -20 dBFS that rests for half a second in each two."""
    playing = tone(rate_hz, -20.0, seconds=8.0)
    playing.reshape(4, -1)[:, -rate_hz // 2 :] = 0
    return playing


@pytest.mark.parametrize("rate_hz", [8000, 16_000, 44_100, 96_000])
@pytest.mark.parametrize(("noise_db", "flagged"), [(-17.5, False), (-16.0, True)])
def test_noisy(rate_hz: int, noise_db: float, flagged: bool) -> None:
    """White noise in the rests, against the playing."""
    playing = with_rests(rate_hz)
    spread = 0.1 * 10 ** (noise_db / 20)
    noise = np.random.default_rng(5).normal(0, spread, len(playing))
    flag = flag_of(from_array(playing + noise, rate_hz), "noisy")
    assert (flag is not None) is flagged
    if flag:
        assert flag.value == pytest.approx(noise_db, abs=NOISE_TOLERANCE_DB)
        assert flag.limit == -17.0


def test_noise_under_playing_without_rests_is_not_told() -> None:
    """Known limit: noise is measured where it is alone."""
    playing = tone(RATE_HZ, -20.0)
    noise = np.random.default_rng(5).normal(0, 0.03, len(playing))
    assert kinds(from_array(playing + noise, RATE_HZ)) == []


def test_padding_does_not_hide_noise() -> None:
    """Digital silence before and after the take says nothing about its noise."""
    noise = np.random.default_rng(5).normal(0, 0.03, 8 * RATE_HZ)
    noisy = np.pad(with_rests(RATE_HZ) + noise, 3 * RATE_HZ)
    assert kinds(from_array(noisy, RATE_HZ)) == ["noisy"]


def test_an_attack_is_no_noise() -> None:
    """Notes that come out of silence: the quietest stretches hold pick noise."""
    frame = round(0.02 * RATE_HZ)
    pick = np.random.default_rng(7).normal(0, 0.2, (40, frame // 2))
    note = tone(RATE_HZ, -15.0, seconds=0.16)
    silence = np.zeros(frame + frame // 2)
    notes = [np.concatenate([silence, noise, note]) for noise in pick]
    take = from_array(np.concatenate([note[: 2 * frame], *notes]), RATE_HZ)
    assert kinds(take) == []


@pytest.mark.parametrize("rate_hz", [8000, 22_050, 44_100, 192_000])
@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize(("hum_db", "flagged"), [(-31, False), (-29, True)])
def test_hum(rate_hz: int, mains_hz: int, hum_db: float, flagged: bool) -> None:
    """Mains hum with its odd and even harmonics, against the playing."""
    rest = np.zeros(rate_hz // 2, np.float32)
    playing = np.concatenate([pluck(rate_hz=rate_hz), rest] * 2)
    times_s = np.arange(len(playing)) / rate_hz
    lines = {1: 1.0, 2: 0.5, 3: 0.4, 5: 0.2}
    hum = sum(a * np.sin(2 * np.pi * k * mains_hz * times_s) for k, a in lines.items())
    powers = sound_check.frame_powers(playing, rate_hz)
    level = np.sqrt(sound_check.playing_frames(powers).mean())
    hum *= level * 10 ** (hum_db / 20) / np.sqrt(np.mean(hum**2))
    flag = flag_of(from_array(playing + hum, rate_hz), "hum")
    assert (flag is not None) is flagged
    if flag:
        assert flag.value == pytest.approx(hum_db, abs=0.5)
        assert f"{mains_hz} Hz" in flag.message


@pytest.mark.parametrize("f0_hz", [50.0, 100.0, 120.0, 150.0, 60.0])
def test_a_repeated_note_is_no_hum(f0_hz: float) -> None:
    """A note on a multiple of the mains, struck again and again, fades in between."""
    times_s = np.arange(RATE_HZ) / RATE_HZ
    waves = sum(np.sin(2 * np.pi * k * f0_hz * times_s) / k for k in range(1, 9))
    note = 0.3 * waves * np.exp(-4 * times_s)
    assert "hum" not in kinds(from_array(np.tile(note, 6), RATE_HZ))


def test_a_drone_is_no_hum() -> None:
    """A steady tone at a multiple of the mains has too few lines of the series."""
    times_s = np.arange(2 * len(pluck())) / RATE_HZ
    drone = 0.02 * np.sin(2 * np.pi * 150 * times_s)
    assert kinds(from_array(np.tile(pluck(), 2) + drone, RATE_HZ)) == []


def test_playing_without_rests_is_no_noise() -> None:
    """Sixteenths on low notes with no gap: nothing quiet to measure noise in."""
    times_s = np.arange(RATE_HZ // 8) / RATE_HZ
    notes = [
        0.3 * np.exp(-3 * times_s) * np.sign(np.sin(2 * np.pi * f0_hz * times_s))
        for f0_hz in (82.41, 98.0, 110.0, 123.47) * 16
    ]
    assert kinds(from_array(np.concatenate(notes), RATE_HZ)) == []


def test_less_than_a_second_is_too_short_for_noise() -> None:
    """No claim about noise or hum from a single note."""
    noise = np.random.default_rng(6).normal(0, 0.1, round(0.99 * RATE_HZ))
    assert kinds(from_array(noise, RATE_HZ)) == []
