"""A foreign client answers what cells ask: jupyter_client, on libzmq's sockets."""
import queue
import time

import pytest
from jupyter_client.manager import start_new_kernel


@pytest.fixture(scope="module")
def client():
    manager, client = start_new_kernel(kernel_name="evenbed")
    yield client
    client.stop_channels()
    manager.shutdown_kernel(now=True)


def run(client, code, answers=(), **options):
    """Run a cell, type the answers, and return its reply, text and questions."""
    text, questions, answers = [], [], list(answers)

    def typed(message):
        questions.append(message["content"])
        client.input(answers.pop(0))

    def shown(message):
        if message["msg_type"] == "stream":
            text.append(message["content"]["text"])
        elif message["msg_type"] == "execute_result":
            text.append(message["content"]["data"]["text/plain"])

    reply = client.execute_interactive(code, stdin_hook=typed, output_hook=shown, timeout=30, **options)
    return reply["content"], "".join(text), questions


def test_scan_and_password(client):
    reply, text, questions = run(client, 'import "fmt"\nvar a, b string\nfmt.Scan(&a)\nfmt.Scan(&b)\nfmt.Print(a, "+", b)', ["two words"])
    assert reply["status"] == "ok" and text == "two+words"
    assert questions == [{"prompt": "", "password": False}]
    reply, text, questions = run(client, 'display.Password("word?")', ["x y"])
    assert reply["status"] == "ok" and text == "x y"
    assert questions == [{"prompt": "word?", "password": True}]


def test_end_of_input(client):
    """Jupyter's console sends Ctrl-D as that character."""
    reply, text, _ = run(client, 'import ("io"; "os"; "fmt")\nall, err := io.ReadAll(os.Stdin)\nfmt.Printf("%q %v", all, err)', ["one", "\x04"])
    assert reply["status"] == "ok" and text == '"one\\n" <nil>'


def test_no_input(client):
    reply, _, questions = run(client, 'display.Input("?")', allow_stdin=False)
    assert reply["status"] == "error" and "does not take input" in reply["evalue"] and not questions


def test_interrupt(client):
    client.execute('kept := 7\ndisplay.Input("?")', allow_stdin=True)
    assert client.get_stdin_msg(timeout=20)["msg_type"] == "input_request"
    client.control_channel.send(client.session.msg("interrupt_request", {}))
    assert client.get_shell_msg(timeout=20)["content"]["ename"] == "interrupted"
    client.input("too late")
    time.sleep(0.1)
    reply, text, questions = run(client, 'fmt.Scan(&a)\nfmt.Print(a)', ["in time"])
    assert reply["status"] == "ok" and text == "in" and len(questions) == 1
    with pytest.raises(queue.Empty):
        client.get_stdin_msg(timeout=0.1)


def test_user_expressions(client):
    reply, _, _ = run(client, "", user_expressions={"seven": "kept", "none": "nothing"})
    assert reply["user_expressions"]["seven"]["data"]["text/plain"] == "7"
    assert reply["user_expressions"]["none"]["status"] == "error"
