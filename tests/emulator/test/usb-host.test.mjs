// The USB host against a device that is played through the controller's registers.

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { RP2040 } from 'rp2040js';

import { QuietLogger } from '../corrections.mjs';
import { CONFIGURATION, PlayedDevice } from '../fixtures/usb-device.mjs';
import { UsbHost, findCdc } from '../usb-host.mjs';

function bench(refuse) {
  const chip = new RP2040();
  chip.logger = new QuietLogger();
  const host = new UsbHost();
  const errors = [];
  host.onError = (text) => errors.push(text);
  host.attach(chip);
  const device = new PlayedDevice(chip, refuse);
  const run = (micros) => {
    for (let step = 0; step < micros; step += 10) {
      chip.clock.tick(10e3);
      device.poll();
    }
  };
  return { chip, host, device, errors, run };
}

test('the CDC function is found by class, not by order', () => {
  assert.deepEqual(findCdc(CONFIGURATION), { control: 0, in: 2, out: 2 });
  assert.throws(() => findCdc(CONFIGURATION.subarray(0, 17)), /no CDC-ACM/);
});

test('a device is set up after a bus reset of 10 ms, with its descriptor in two packets', () => {
  const { host, device, errors, run } = bench();
  run(9000);
  assert.equal(device.setups.length, 0);
  run(20000);
  assert.deepEqual(errors, []);
  assert.ok(host.configured);
  assert.deepEqual([host.identity.vendor, host.identity.product], [0x1209, 1]);
  assert.deepEqual(device.lineCoding, [0x00, 0xc2, 0x01, 0x00, 0, 0, 8]);
  assert.ok(!device.setups.some((setup) => setup[1] === 0x22), 'nobody opened the port');
});

test('opening the port tells DTR to the interface, shutting it takes DTR back', () => {
  const { host, device, run } = bench();
  host.setOpen(true);
  run(30000);
  host.setOpen(false);
  run(1000);
  const states = device.setups.filter((setup) => setup[1] === 0x22).map((setup) => [setup[0], setup[2], setup[4]]);
  assert.deepEqual(states, [[0x21, 3, 0], [0x21, 0, 0]]);
});

test('bytes for a buffer that was armed early arrive when there are bytes', () => {
  const { host, device, run } = bench();
  host.setOpen(true);
  run(30000);
  assert.deepEqual(device.received, []);
  const sent = Uint8Array.from({ length: 150 }, (_, index) => index);
  host.send(sent);
  run(2000);
  assert.deepEqual(device.received, [...sent]);
  assert.equal(host.outBytes, 0);
});

test('a shut or held port leaves the bytes with the device', () => {
  const { host, device, run } = bench();
  const got = [];
  host.onBytes = (bytes) => got.push(...bytes);
  run(30000);
  device.write([1, 2, 3]);
  run(5000);
  assert.ok(!device.isFetched);
  host.setOpen(true);
  run(2000);
  assert.deepEqual(got, [1, 2, 3]);
  host.hold(true);
  device.write([4]);
  run(5000);
  assert.ok(!device.isFetched);
  host.hold(false);
  run(100);
  assert.deepEqual(got, [1, 2, 3, 4]);
});

test('a packet of 64 bytes takes its 55 us on the wire', () => {
  const { chip, host, device, run } = bench();
  host.setOpen(true);
  run(30000);
  let at = null;
  host.onBytes = () => {
    at = chip.clock.nanos;
  };
  const from = chip.clock.nanos;
  device.write(new Uint8Array(64));
  run(100);
  assert.ok(at - from > 55e3 && at - from < 56e3, `${at - from} ns`);
});

test('a refused request is told by name', () => {
  const { host, errors, run } = bench(9);
  run(30000);
  assert.deepEqual(errors, ['USB: request set configuration was refused (STALL)']);
  assert.ok(!host.configured);
});

test('a device that does not answer is told after five seconds', () => {
  const { chip, errors, run } = bench();
  run(10100);
  chip.usbDPRAMView.setUint32(0x80, 0, true);
  chip.clock.tick(5.1e9);
  assert.equal(errors.length, 1);
  assert.match(errors[0], /did not answer in time/);
});

test('after a reset of the chip the device is set up and the port opened again', () => {
  const { host, run } = bench();
  host.setOpen(true);
  run(30000);
  assert.ok(host.isOpen);
  const chip = new RP2040();
  chip.logger = new QuietLogger();
  host.attach(chip);
  assert.ok(!host.isOpen);
  const device = new PlayedDevice(chip);
  for (let step = 0; step < 3000; step++) {
    chip.clock.tick(10e3);
    device.poll();
  }
  assert.ok(host.isOpen);
  assert.equal(host.statistics.enumerations, 2);
});
