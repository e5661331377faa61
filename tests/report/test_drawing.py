"""Pictures: where the ink goes. Drawings are 240 units wide."""

from dataclasses import replace

from qualify.record.model import LossPeriodRecord, PhaseRecord, StreamRecord, TrialRecord
from qualify.report.drawing import OutageBar, draw_outage, draw_phases


def test_the_budget_stands_in_the_middle(lossy_stream: StreamRecord) -> None:
    # scale 100 ms: 61.2 ms is 146.88 units, 61.4 ms is 147.36 units
    assert draw_outage(lossy_stream) == OutageBar(low=146, width=3, budget=120, beyond=False)


def test_a_wide_interval_is_drawn_from_bound_to_bound(lossy_stream: StreamRecord) -> None:
    wide = replace(lossy_stream, outage_low_ns=25_000_000, outage_high_ns=75_000_000)
    assert draw_outage(wide) == OutageBar(low=60, width=120, budget=120, beyond=False)


def test_no_loss_is_still_drawn(clean_stream: StreamRecord) -> None:
    assert draw_outage(clean_stream) == OutageBar(low=0, width=3, budget=120, beyond=False)


def test_what_lies_off_the_scale_says_so(lossy_stream: StreamRecord) -> None:
    long = replace(lossy_stream, outage_low_ns=4_999_000_000, outage_high_ns=5_001_000_000)
    assert draw_outage(long) == OutageBar(low=230, width=10, budget=120, beyond=True)


def test_loss_at_the_edge_of_the_trial_has_no_end(lossy_stream: StreamRecord) -> None:
    edge = replace(lossy_stream, reaches_edge=True)
    assert draw_outage(edge) == OutageBar(low=146, width=94, budget=120, beyond=True)


def test_without_a_budget_there_is_no_line(lossy_stream: StreamRecord) -> None:
    assert draw_outage(replace(lossy_stream, budget_ns=None)).budget is None


def test_phases_stand_one_after_the_other_and_show_where_loss_began(
    good_trial: TrialRecord, lossy_stream: StreamRecord
) -> None:
    loss = LossPeriodRecord(7, 1, 1_150, 1, 2)
    trial = replace(
        good_trial,
        phases=(PhaseRecord("steady", 1_000, 1_100), PhaseRecord("verify", 1_100, 1_200)),
        streams=(replace(lossy_stream, loss_period_details=(loss, loss)),),
    )
    steady, verify = draw_phases(trial)
    assert (steady.name, steady.duration_ns, steady.start, steady.width, steady.losses) == (
        "steady",
        100,
        0,
        120,
        (),
    )
    assert (verify.start, verify.width, verify.losses) == (120, 120, (180,))


def test_a_phase_of_no_length_is_still_seen(good_trial: TrialRecord) -> None:
    instant = (
        PhaseRecord("check", 5, 5),
        PhaseRecord("steady", 5, 105),
        PhaseRecord("x", 105, 105),
    )
    bars = draw_phases(replace(good_trial, phases=instant))
    assert [(bar.start, bar.width) for bar in bars] == [(0, 3), (0, 240), (237, 3)]


def test_a_trial_without_phases_has_no_drawing(good_trial: TrialRecord) -> None:
    assert draw_phases(replace(good_trial, phases=())) == ()
