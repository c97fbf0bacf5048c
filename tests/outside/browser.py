"""Drives headless Chromium over its debugging pipe, with the standard library only."""

import json
import os
import select
import shutil
import subprocess
import tempfile
import time

FLAGS = ['--headless', '--no-sandbox', '--disable-gpu', '--disable-dev-shm-usage', '--disable-background-networking', '--disable-component-update',
         '--disable-sync', '--no-first-run', '--autoplay-policy=no-user-gesture-required', '--remote-debugging-pipe']


class Browser:
    def __init__(self, folder):
        self.profile = tempfile.mkdtemp(prefix='profile-', dir=folder)
        to_browser, self.output = os.pipe()
        self.input, from_browser = os.pipe()

        def connect():
            a, b = os.dup(to_browser), os.dup(from_browser)
            os.dup2(a, 3)
            os.dup2(b, 4)

        self.process = subprocess.Popen(['chromium', *FLAGS, f'--user-data-dir={self.profile}', 'about:blank'],
                                        preexec_fn=connect, close_fds=False, stdout=subprocess.DEVNULL,
                                        stderr=subprocess.DEVNULL)
        os.close(to_browser)
        os.close(from_browser)
        self.buffer, self.last_id, self.session = b'', 0, None
        self.events, self.errors, self.requests = [], [], []

    def close(self):
        self.session = None
        self.call('Browser.close')
        self.process.wait(20)
        shutil.rmtree(self.profile, ignore_errors=True)

    def read(self, timeout):
        """Returns the next message, or None after the time."""
        end = time.monotonic() + timeout
        while b'\0' not in self.buffer:
            if not select.select([self.input], [], [], max(0, end - time.monotonic()))[0]:
                return None
            self.buffer += os.read(self.input, 1 << 20)
        text, self.buffer = self.buffer.split(b'\0', 1)
        message = json.loads(text)
        method, params = message.get('method'), message.get('params', {})
        if method == 'Network.requestWillBeSent':
            self.requests.append(params['request']['url'])
        elif method == 'Runtime.exceptionThrown':
            self.errors.append(params['exceptionDetails'].get('exception', {}).get('description', 'exception'))
        elif method == 'Runtime.consoleAPICalled' and params['type'] in ('error', 'warning', 'assert'):
            self.errors.append(str(params['args']))
        elif method == 'Log.entryAdded' and params['entry']['level'] in ('error', 'warning'):
            self.errors.append(params['entry']['text'])
        if method:
            self.events.append(method)
        return message

    def call(self, method, **params):
        self.last_id += 1
        request = {'id': self.last_id, 'method': method, 'params': params}
        if self.session:
            request['sessionId'] = self.session
        data = json.dumps(request).encode() + b'\0'
        while data:
            data = data[os.write(self.output, data):]
        while True:
            message = self.read(300)
            if message is None:
                raise TimeoutError(method)
            if message.get('id') == self.last_id:
                if 'error' in message:
                    raise RuntimeError(f'{method}: {message["error"]}')
                return message['result']

    def open(self, path, script='', width=1000, height=800):
        """Opens a page in a new tab; `script` runs before those of the page."""
        self.session = None
        target = self.call('Target.createTarget', url='about:blank')['targetId']
        session = self.call('Target.attachToTarget', targetId=target, flatten=True)['sessionId']
        self.session = session
        for domain in ('Page', 'Runtime', 'Network', 'Log'):
            self.call(domain + '.enable')
        self.size(width, height)
        self.call('Page.addScriptToEvaluateOnNewDocument', source=script)
        self.events.clear()
        self.call('Page.navigate', url=f'file://{path}')
        while 'Page.loadEventFired' not in self.events:
            self.read(30)
        return target

    def shut(self, target):
        self.session = None
        self.call('Target.closeTarget', targetId=target)

    def size(self, width, height):
        self.call('Emulation.setDeviceMetricsOverride', width=width, height=height, deviceScaleFactor=1, mobile=False)

    def run(self, expression):
        """Evaluates an expression, waits for its promise, returns its value."""
        result = self.call('Runtime.evaluate', expression=expression, awaitPromise=True, returnByValue=True, userGesture=True)
        if 'exceptionDetails' in result:
            raise RuntimeError(result['exceptionDetails'].get('exception', {}).get('description', expression))
        return result['result'].get('value')

    def key(self, key, **params):
        text = {'text': key} if len(key) == 1 and not params else {}
        self.call('Input.dispatchKeyEvent', type='keyDown', key=key, **text, **params)
        self.call('Input.dispatchKeyEvent', type='keyUp', key=key, **params)

    def click(self, x, y):
        for kind in ('mousePressed', 'mouseReleased'):
            self.call('Input.dispatchMouseEvent', type=kind, x=x, y=y, button='left', clickCount=1)

    def tap(self, x, y):
        self.call('Input.dispatchTouchEvent', type='touchStart', touchPoints=[{'x': x, 'y': y}])
        self.call('Input.dispatchTouchEvent', type='touchEnd', touchPoints=[])
