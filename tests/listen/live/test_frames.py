import math
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.live.frames import Frame, FrameError, pack_frame, unpack_frame
from listen.live.intake import Intake, Piece

RATE_HZ = 1000


def frame(first: int, count: int = 100, *, sent_s: float | None = None) -> Frame:
    """Samples that say where they lie: sample i holds i / 4096."""
    samples = (np.arange(first, first + count) / 4096).astype(np.float32)
    return Frame(0, first, (first + count) / RATE_HZ if sent_s is None else sent_s, samples)


def taken(intake: Intake, *frames: Frame) -> list[Piece]:
    return [piece for one in frames for piece in intake.take_in(one)]


@given(
    st.integers(0, 2**32 - 1),
    st.integers(0, 2**40),
    st.floats(0, 1e10),
    st.lists(st.integers(-32767, 32767), min_size=1, max_size=50),
)
def test_a_frame_survives_the_way(sequence: int, first: int, sent_s: float, pcm: list[int]) -> None:
    sent = Frame(sequence, first, sent_s, (np.array(pcm) / 32767).astype(np.float32))
    got = unpack_frame(pack_frame(sent))
    assert (got.sequence, got.first, got.sent_s) == (sequence, first, sent_s)
    np.testing.assert_allclose(got.samples, sent.samples, atol=1 / 32767)


def header(count: int, first: float, sent_s: float = 0.0) -> bytes:
    """The documented header, laid by hand: little-endian uint32, uint32, double, double."""
    return struct.pack("<IIdd", 7, count, first, sent_s)


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        (b"", "too short"),
        (header(0, 0.0), "too short"),
        (b"x" * 200_000, "too long"),
        (header(3, 0.0) + b"\0" * 4, "as many samples"),
        (header(2**31, 0.0) + b"\0" * 4, "as many samples"),
        (header(2, -1.0) + b"\0" * 4, "no sane number"),
        (header(2, 0.5) + b"\0" * 4, "no sane number"),
        (header(2, 1e300) + b"\0" * 4, "no sane number"),
        (header(2, math.nan) + b"\0" * 4, "no sane number"),
        (header(2, 0.0, math.inf) + b"\0" * 4, "no sane number"),
    ],
)
def test_malformed_frames_are_refused(data: bytes, complaint: str) -> None:
    with pytest.raises(FrameError, match=complaint):
        unpack_frame(data)


@given(st.binary(max_size=300))
def test_random_bytes_are_a_frame_or_refused(data: bytes) -> None:
    try:
        assert len(unpack_frame(data).samples) == (len(data) - 24) // 2
    except FrameError:
        return


def test_frames_in_order_pass_unchanged() -> None:
    pieces = taken(Intake(sample_rate_hz=RATE_HZ, first=0), frame(0), frame(100), frame(200))
    np.testing.assert_array_equal(
        np.concatenate([piece.samples for piece in pieces]), (np.arange(300) / 4096).astype("f4")
    )


def test_frames_sent_again_are_heard_once() -> None:
    intake = Intake(sample_rate_hz=RATE_HZ, first=0)
    pieces = taken(intake, frame(0), frame(0), frame(50), frame(100), frame(100))
    np.testing.assert_array_equal(
        np.concatenate([piece.samples for piece in pieces]), (np.arange(200) / 4096).astype("f4")
    )
    assert all(piece.missing_s == 0 for piece in pieces)


def test_lost_frames_become_marked_silence_of_the_same_length() -> None:
    pieces = taken(Intake(sample_rate_hz=RATE_HZ, first=0), frame(0), frame(400))
    assert [piece.missing_s for piece in pieces] == [0, pytest.approx(0.3), 0]
    assert len(pieces[1].samples) == 300
    assert not pieces[1].samples.any()


def test_a_sender_that_slept_is_noticed_by_its_clock() -> None:
    """No gap in the count of samples, yet the clock says that 60 s went by."""
    pieces = taken(Intake(sample_rate_hz=RATE_HZ, first=0), frame(0), frame(100, sent_s=60.2))
    assert pieces[1].missing_s == pytest.approx(60.0)
    assert len(pieces[1].samples) == 2 * RATE_HZ  # silence stands for it, two seconds at most


def test_a_busy_page_that_stutters_has_not_slept() -> None:
    late = [frame(100 * i, sent_s=0.1 * (i + 1) + 0.3 * (i % 2)) for i in range(6)]
    pieces = taken(Intake(sample_rate_hz=RATE_HZ, first=0), *late)
    assert all(piece.missing_s == 0 for piece in pieces)
