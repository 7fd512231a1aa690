"""The log is a JSON document a line where a service manager says that it goes into the journal."""

import json
import subprocess
import sys

CODE = (
    "import logging, os, sys; from dryspell.logs import log_to_stderr\n"
    "found = os.fstat(2)\n"
    "os.environ['JOURNAL_STREAM'] = f'{found.st_dev}:{found.st_ino + int(sys.argv[1])}'\n"
    "log_to_stderr(); logging.getLogger('dryspell.tick').info('Rail: coat 4 now')\n"
)


def logged(off_by):
    command = [sys.executable, "-c", CODE, str(off_by)]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stderr


def test_into_the_journal_each_line_is_a_document():
    # systemd.exec(5): JOURNAL_STREAM holds device and inode of the stream, so that a redirection is told from it.
    document = json.loads(logged(0))
    assert (document["schema"], document["level"], document["message"]) == (
        "dryspell.log/1",
        "info",
        "Rail: coat 4 now",
    )


def test_a_stream_that_was_led_elsewhere_has_plain_lines():
    assert logged(1).endswith("Z INFO Rail: coat 4 now\n")
