#!/bin/sh
# Writes the locks of the container anew: every package with the hashes of its files. Needs uv and the network.
set -eu
cd "$(dirname "$0")/../.."
lock() {
    uv pip compile "$@" --universal --python-version 3.11 --generate-hashes --no-header --no-annotate \
        --no-emit-index-url --quiet --upgrade
}
lock pyproject.toml --extra charts --output-file deploy/container/requirements.lock
echo hatchling | lock - --output-file deploy/container/build.lock
