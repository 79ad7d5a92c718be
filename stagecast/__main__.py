"""Run the command line as ``python -m stagecast``."""

from stagecast.cli.main import run

if __name__ == "__main__":
    run()
