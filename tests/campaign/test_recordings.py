"""Recordings: every depth and rate reads, one channel at a time. Oracle: the samples that were written."""

from __future__ import annotations

import struct
import tracemalloc

import numpy as np
import pytest
import soundfile

from frusta.campaign.recordings import fault_of_samples, open_recording, sounding_s
from frusta.errors import PackageError

SAMPLES = np.random.default_rng(3).uniform(-0.9, 0.9, (5000, 3))


@pytest.mark.parametrize("rate_hz", [44100, 48000, 88200, 96000, 176400, 192000])
@pytest.mark.parametrize(
    ("form", "subtype", "bits"),
    [
        ("WAV", "PCM_U8", 8),
        ("WAV", "PCM_16", 16),
        ("WAV", "PCM_24", 24),
        ("WAV", "PCM_32", 32),
        ("WAV", "FLOAT", 24),
        ("WAV", "DOUBLE", 53),
        ("WAVEX", "PCM_24", 24),
        ("RF64", "PCM_24", 24),
        ("FLAC", "PCM_S8", 8),
        ("FLAC", "PCM_16", 16),
        ("FLAC", "PCM_24", 24),
    ],
)
def test_every_depth_and_rate(tmp_path, form, subtype, bits, rate_hz):
    path = tmp_path / "x"
    soundfile.write(path, SAMPLES, rate_hz, format=form, subtype=subtype)
    recording = open_recording(path)
    assert (recording.sample_rate_hz, recording.channels, recording.frames) == (rate_hz, 3, 5000)
    assert recording.bits == bits
    assert np.abs(recording.read(2) - SAMPLES[:, 1]).max() <= 2.0 ** (1 - bits)
    assert fault_of_samples(recording) is None


def test_a_piece_of_some_channels(tmp_path):
    soundfile.write(tmp_path / "x.wav", SAMPLES, 48000, subtype="DOUBLE")
    recording = open_recording(tmp_path / "x.wav")
    piece = recording.read_channels((3, 1), start=100, frames=50)
    assert np.array_equal(piece, SAMPLES[100:150, [2, 0]].T)
    assert recording.read(1, start=4990, frames=100).shape == (10,)
    assert recording.read(1, start=9000).shape == (0,)


def test_one_channel_of_many_needs_no_more_memory_than_itself(tmp_path):
    """Eight channels, 192 kHz, 30 s are 369 MB as float64; the one channel is 46 MB."""
    path = tmp_path / "x.wav"
    with soundfile.SoundFile(path, "w", 192000, 8, subtype="PCM_16") as file:
        for _ in range(30):
            file.write(np.zeros((192000, 8), dtype=np.int16))
    tracemalloc.start()
    samples = open_recording(path).read(8)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert samples.nbytes == 30 * 192000 * 8
    assert peak < samples.nbytes + 40e6


def test_a_channel_that_is_not_there(tmp_path):
    soundfile.write(tmp_path / "x.wav", SAMPLES, 48000)
    for channel in (0, 4):
        with pytest.raises(PackageError, match=f"must have channel {channel} .it has 3; they count from 1"):
            open_recording(tmp_path / "x.wav").read(channel)


def test_24_bits_in_4_bytes_are_refused_for_the_decoder_would_misread_them(tmp_path):
    form = struct.pack("<HHIIHH", 1, 1, 48000, 48000 * 4, 4, 24)
    body = struct.pack("<200i", *range(200))
    data = b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", len(body)) + body
    (tmp_path / "x.wav").write_bytes(b"RIFF" + struct.pack("<I", len(data)) + data)
    assert soundfile.info(tmp_path / "x.wav").frames != 200, "the decoder has learnt it: accept them"
    with pytest.raises(PackageError, match="1 channels of 24 bits in frames of 4 bytes"):
        open_recording(tmp_path / "x.wav")


def test_chunks_of_other_programs_are_skipped(tmp_path):
    soundfile.write(tmp_path / "x.wav", SAMPLES, 48000, subtype="PCM_16")
    data = (tmp_path / "x.wav").read_bytes()
    note = b"LIST" + struct.pack("<I", 5) + b"hello\0"
    data = data[:12] + note + data[12:] + b"id3 " + struct.pack("<I", 4) + b"tail"
    (tmp_path / "x.wav").write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])
    recording = open_recording(tmp_path / "x.wav")
    assert recording.frames == 5000
    assert fault_of_samples(recording) is None


def test_a_streamed_wav_of_unknown_length_is_told(tmp_path):
    soundfile.write(tmp_path / "x.wav", SAMPLES, 48000, subtype="PCM_16")
    data = (tmp_path / "x.wav").read_bytes()
    place = data.index(b"data") + 4
    (tmp_path / "x.wav").write_bytes(data[:place] + b"\xff\xff\xff\xff" + data[place + 4 :])
    with pytest.raises(PackageError, match="header claims 4294967295 bytes of sound, 30000 are there"):
        open_recording(tmp_path / "x.wav")


@pytest.mark.parametrize("form", ["AIFF", "OGG", "CAF"])
def test_other_containers_are_refused(tmp_path, form):
    soundfile.write(tmp_path / "x.wav", SAMPLES[:, 0], 48000, format=form)
    with pytest.raises(PackageError, match="must be WAV or FLAC"):
        open_recording(tmp_path / "x.wav")


@pytest.mark.parametrize("seed", range(30))
def test_damaged_headers_end_in_one_line(tmp_path, seed):
    """Random bytes of the first 60 changed: reads, or is refused; nothing else."""
    generator = np.random.default_rng(seed)
    for name, form in (("x.wav", "WAV"), ("x.flac", "FLAC")):
        soundfile.write(tmp_path / name, SAMPLES, 48000, format=form, subtype="PCM_16")
        data = bytearray((tmp_path / name).read_bytes())
        for place in generator.integers(0, 60, 3):
            data[place] = generator.integers(0, 256)
        (tmp_path / name).write_bytes(data)
        try:
            recording = open_recording(tmp_path / name)
            wrong = fault_of_samples(recording)
        except PackageError as error:
            wrong = str(error)
        assert wrong is None or "\n" not in wrong


def test_how_long_a_file_sounds(tmp_path):
    samples = np.zeros(48000 * 3)
    samples[24000:96001] = 0.5
    soundfile.write(tmp_path / "x.wav", samples, 48000)
    assert sounding_s(open_recording(tmp_path / "x.wav")) == pytest.approx(1.5, abs=1e-9)
