"""RFC 6201, Device Reset Characterization, section 1.3: frame-loss and timestamp method.

The formulas are the RFC's, also RFC 6414 sections 3.6.1 and 3.6.2; the worked values are derived.
Software upgrades are outside of the scope of that document: only its methods are borrowed.
"""

from dataclasses import replace

from qualify.measure.kept_frames import capture_frames
from qualify.measure.stream import measure_stream
from qualify.verdict.judge import describe_outage
from qualify.verdict.streams import assess_streams
from qualify.verdict.verdict import Outcome
from tests.measure.captures import even_capture, even_frames
from tests.verdict.trials import CLEAN, PLAN, STOPPED_NS


def test_o_rt_10_frame_loss_method() -> None:
    """50 lost at 1000 frames/s: 50 ms."""
    figures = measure_stream(even_capture(sent=10_000, lost=range(5_000, 5_050)))
    assert figures.outage_ns == 50_000_000


def test_o_rt_11_timestamp_method_sees_one_interval_more() -> None:
    """The same event on an even stream without change of delay: 51 ms."""
    figures = measure_stream(even_capture(sent=10_000, lost=range(5_000, 5_050)))
    assert figures.receive_gap_ns == 51_000_000


def test_o_rt_12_no_loss_is_no_outage_of_one_interval() -> None:
    """Section 3: report "no loss"; the normal spacing of 1 ms is no outage."""
    figures = measure_stream(even_capture(sent=10_000))
    assert figures.outage_ns == 0
    assert figures.receive_gap_ns is None
    assert describe_outage(figures) == "no loss (outage below 1.0 ms)"


def test_o_rt_13_frames_that_were_not_sent_hide_an_outage() -> None:
    """RFC 2285 section 3.5.2: 1000 frames/s for 10 s intended, the first 4000 sent and received."""
    assessed, _ = assess_streams(
        PLAN,
        replace(
            CLEAN,
            captures=(even_capture(sent=4_000),),
            phases=(replace(CLEAN.phases[-1], start_ns=STOPPED_NS - 50_000_000_000),),
        ),
    )
    assert assessed[0].figures.outage_ns == 0
    assert assessed[0].verdict.outcome is Outcome.INCONCLUSIVE
    assert "the sender fell silent 6.1 s before the trial was over" in assessed[0].verdict.reason


def test_o_rt_13_a_sender_that_pauses_for_6_s_hides_an_outage() -> None:
    """The same, but the sender goes on afterwards: the outage is below 6.001 s, not below 1 ms."""
    even = even_frames(sent=8_000)
    sent_ns = even.sent_ns.copy()
    sent_ns[4_000:] += 6_000_000_000
    frames = replace(even, sent_ns=sent_ns, received_ns=sent_ns + 40_000)
    figures = measure_stream(capture_frames(frames))
    assert (figures.outage_low_ns, figures.outage_high_ns) == (0, 6_001_000_000)


def test_o_fo_06_packet_loss_based_method() -> None:
    """RFC 6414 section 3.6.2 equation 3: 125 lost at 2500 packets/s: 50 ms."""
    figures = measure_stream(even_capture(sent=10_000, rate_pps=2_500, lost=range(4_000, 4_125)))
    assert figures.outage_ns == 50_000_000
