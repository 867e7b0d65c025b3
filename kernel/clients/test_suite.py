"""The public kernel test suite (jupyter_kernel_test) against the installed kernel."""
import random
import unittest

import jupyter_kernel_test
import pytest


class EvenbedTests(jupyter_kernel_test.KernelTests):
    """The samples the suite asks for. What each test asserts is the suite's."""

    kernel_name = "evenbed"
    language_name = "go"
    file_extension = ".go"

    code_hello_world = 'import "fmt"\nfmt.Print("hello, world")'
    code_stderr = 'import (\n\t"fmt"\n\t"os"\n)\nfmt.Fprintln(os.Stderr, "careful")'
    completion_samples = [
        {"text": "fallth", "matches": ["fallthrough"]},
        {"text": 'import "strings"\nstrings.ToUpperS', "matches": ["ToUpperSpecial"]},
    ]
    complete_code_samples = ["1+1", "x := 5", 'import "fmt"', "func f() int { return 1 }", "// only a remark"]
    incomplete_code_samples = ["func f() {", "if 2 > 1 {", "1 +", "s := `one\ntwo", "f(1,"]
    invalid_code_samples = ["x := )", "func 3() {}", "}"]
    code_generate_error = 'panic("on purpose")'
    code_execute_result = [
        {"code": "6 * 7", "result": "42"},
        {"code": '"packed" + " bed"', "result": "packed bed"},
        {"code": 'display.HTML("<b>bed</b>")', "mime": "text/html", "result": "<b>bed</b>"},
    ]
    code_display_data = [
        {"code": 'Display(display.HTML("<b>bed</b>"))', "mime": "text/html"},
        {"code": 'Display(display.SVG("<svg xmlns=\\"http://www.w3.org/2000/svg\\"/>"))', "mime": "image/svg+xml"},
        {"code": "Display(1.5)", "mime": "text/plain"},
    ]
    supported_history_operations = ("tail", "range", "search")
    code_history_pattern = "6 *"
    code_inspect_sample = "append"
    code_clear_output = "display.Clear(false)"

    test_pager = None  # the kernel has no pager: documentation shows in a tooltip


def shuffled(seed):
    """Return the suite's tests, last first for seed 0, else in a random order."""
    names = unittest.TestLoader().getTestCaseNames(EvenbedTests)
    if seed == 0:
        names.reverse()
    else:
        random.Random(seed).shuffle(names)
    return names


@pytest.mark.parametrize("seed", range(3))
def test_any_order(seed):
    """The suite passes in any order of its tests, each order on one fresh kernel."""
    names = shuffled(seed)
    assert {"test_kernel_info", "test_execute_stdout", "test_execute_stderr", "test_completion", "test_is_complete",
            "test_error", "test_execute_result", "test_display_data", "test_history", "test_inspect",
            "test_clear_output"} == set(names)
    result = unittest.TestResult()
    unittest.TestSuite(EvenbedTests(name) for name in names).run(result)
    assert result.testsRun == len(names)
    failed = [f"{test}: {trace}" for test, trace in result.failures + result.errors]
    assert not failed, f"in the order {names}:\n" + "\n".join(failed)
    assert not result.skipped
