"""Some days of a season in a few seconds: threads and handles stay as many as they were, and the daemon well."""

from faults.season import Season


def test_a_few_days_leave_no_thread_and_no_handle_behind(tmp_path):
    with Season(tmp_path, seconds_a_day=2.0, tick="1 hour") as season:
        days = [season.live_a_day() for _ in range(6)]
        # A reader and a plan take handles for a moment, so that the least of three days is held against the most. On a
        # busy machine some threads that stay, one for each kind of work, are first wanted later.
        assert min(day.threads for day in days[3:]) <= max(day.threads for day in days[:3]) + 3
        assert min(day.handles for day in days[3:]) <= max(day.handles for day in days[:3]) + 1
        assert days[-1].ticks > days[0].ticks
        assert season.failed_ticks() == 0
        assert season.leave() == 0
        assert not [line for line in season.unusual() if "dropped" not in line], season.daemon.log
