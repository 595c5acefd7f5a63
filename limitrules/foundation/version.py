"""The version, held here alone: read by the build, cheap to read at start-up."""

VERSION = "0.1.0"
