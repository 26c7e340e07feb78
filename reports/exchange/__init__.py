"""Plans in formats that other programs read: orbit messages, calendars, workbooks."""
