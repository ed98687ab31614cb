"""Sound files of every kind, whole and damaged.

Oracles: whole files hold the samples that were written, exactly, by the quantisation of their own depth, computed here
without the reader; of damaged ones, the promises of reader_targets.py: one line, or samples as libsndfile itself reads
them.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from reader_targets import sound

from frusta.campaign.recordings import open_recording
from frusta.campaign.wav_header import read_wav_header
from frusta.errors import PackageError

DEPTHS = {
    "WAV": ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"),
    "WAVEX": ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"),
    "RF64": ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"),
    "FLAC": ("PCM_S8", "PCM_16", "PCM_24"),
}
BITS = {"PCM_U8": 8, "PCM_S8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
KINDS = [(form, subtype) for form, subtypes in DEPTHS.items() for subtype in subtypes]


def _samples(seed: int, frames: int, channels: int, subtype: str) -> np.ndarray:
    """Values that the depth holds exactly."""
    rng = np.random.default_rng(seed)
    if subtype in BITS:
        half = 2 ** (BITS[subtype] - 1)
        return rng.integers(-half, half, (frames, channels)) / half
    values = rng.standard_normal((frames, channels))
    return values.astype(np.float32).astype(float) if subtype == "FLOAT" else values


def _file(form: str, subtype: str, rate_hz: int, samples: np.ndarray) -> bytes:
    out = io.BytesIO()
    written = samples
    if subtype in BITS:  # as whole numbers, so that no rounding of the writer's comes in
        written = np.round(samples * 2.0**31).clip(-(2.0**31), 2.0**31 - 1).astype(np.int32)
    soundfile.write(out, written, rate_hz, format=form, subtype=subtype)
    return out.getvalue()


@settings(max_examples=120)
@given(
    st.sampled_from(KINDS),
    st.sampled_from(RATES_HZ),
    st.integers(1, 8),
    st.integers(1, 700),
    st.integers(0, 2**16),
    st.data(),
)
def test_every_sample_of_every_depth_comes_back(tmp_path_factory, kind, rate_hz, channels, frames, seed, data):
    samples = _samples(seed, frames, channels, kind[1])
    path = tmp_path_factory.mktemp("sound") / "take.wav"
    path.write_bytes(_file(*kind, rate_hz, samples))
    recording = open_recording(path)
    assert (recording.sample_rate_hz, recording.channels, recording.frames) == (rate_hz, channels, frames)
    assert recording.subtype == kind[1]
    channel = data.draw(st.integers(1, channels))
    start = data.draw(st.integers(0, frames - 1))
    count = data.draw(st.integers(1, frames - start))
    assert np.array_equal(recording.read(channel), samples[:, channel - 1])
    assert np.array_equal(
        recording.read(channel, start=start, frames=count), samples[start : start + count, channel - 1]
    )


@settings(max_examples=150)
@given(st.sampled_from(KINDS), st.data())
def test_any_damage_is_one_line_or_the_samples_that_are_there(kind, data):
    whole = bytearray(_file(*kind, 48000, _samples(1, 97, 2, kind[1])))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, min(len(whole) - 1, 140)))
        whole[at] = data.draw(st.sampled_from((0, 1, 0x7F, 0x80, 0xFE, 0xFF)))
    sound(bytes(whole[: data.draw(st.integers(0, len(whole)))]) if data.draw(st.booleans()) else bytes(whole))


BEGINNINGS = (b"", b"RIFF\xff\xff\xff\x7fWAVE", b"RF64\xff\xff\xff\xffWAVEds64", b"fLaC")


@settings(max_examples=60)
@given(
    st.binary(max_size=200),
    st.sampled_from((b"", b"RIFF\xff\xff\xff\x7fWAVE", b"RF64\xff\xff\xff\xffWAVEds64", b"fLaC")),
)
def test_any_bytes_are_one_line(tail, head):
    sound(head + tail)


def _wav(*, channels=1, rate_hz=48000, bits=16, frame=2, rate_bytes=None, claimed=None, body=b"\0" * 960, before=b""):
    """A WAV file whose header says what it is told to."""
    rate_bytes = rate_hz * frame if rate_bytes is None else rate_bytes
    claimed = len(body) if claimed is None else claimed
    form = b"fmt " + struct.pack("<IHHIIHH", 16, 1, channels, rate_hz, rate_bytes, frame, bits)
    data = before + b"data" + struct.pack("<I", claimed) + body
    return b"RIFF" + struct.pack("<I", 4 + len(form) + len(data)) + b"WAVE" + form + data


@pytest.mark.parametrize(
    ("lie", "words"),
    [
        ({"claimed": 2**31}, "2147483648 bytes of sound, 960 are there"),
        ({"claimed": 0}, "claims no sound, 960 bytes follow"),
        ({"channels": 0}, "claims 0 channels"),
        ({"channels": 65535}, "65535 channels of 16 bits in frames of 2 bytes"),
        ({"frame": 0, "rate_bytes": 0}, "in frames of 0 bytes"),
        ({"bits": 0}, "channels of 0 bits"),
        ({"rate_bytes": 1}, "48000 Hz and 1 bytes per second"),
        ({"rate_hz": 2**32 - 1, "rate_bytes": 2**32 - 2}, "bytes per second"),
        ({"rate_hz": 8000}, "the sample rate must be 44100 to 192000 Hz"),
        ({"rate_hz": 2_000_000}, "the sample rate must be 44100 to 192000 Hz"),
    ],
)
def test_headers_that_lie_are_told_what_they_claim(tmp_path, lie, words):
    path = tmp_path / "take.wav"
    path.write_bytes(_wav(**lie))
    with pytest.raises(PackageError, match=words) as caught:
        open_recording(path, "take.wav")
    assert "\n" not in str(caught.value)


def test_chunks_that_claim_to_lead_nowhere_or_in_a_circle_end(tmp_path):
    """A length that leads beyond the file, no length at all, and thousands of empty chunks."""
    path = tmp_path / "take.wav"
    for before in (
        b"LIST" + struct.pack("<I", 2**32 - 2),
        b"junk" + struct.pack("<I", 0) * 1,
        b"junk\0\0\0\0" * 20_000,
    ):
        path.write_bytes(_wav(before=before))
        try:
            header = read_wav_header(path, "take.wav")
        except PackageError as error:
            assert "ends within its header" in str(error)  # noqa: PT017 - either end is right, neither is a hang
        else:
            assert header.audio_bytes == 960
