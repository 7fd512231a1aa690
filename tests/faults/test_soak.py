"""Some days of a season in a few seconds: threads and handles stay as many as they were, and the daemon well."""

from faults.season import Season


def test_a_few_days_leave_no_thread_and_no_handle_behind(tmp_path):
    with Season(tmp_path, seconds_a_day=2.0, tick="1 hour") as season:
        first, *_, last = (season.live_a_day() for _ in range(4))
        # The least of many looks: what comes with a reader or a plan and goes again does not count.
        assert last.threads <= first.threads + 1
        assert last.handles <= first.handles + 1
        assert last.ticks > first.ticks
        assert season.failed_ticks() == 0
        assert season.leave() == 0
        assert not [line for line in season.unusual() if "dropped" not in line], season.daemon.log
