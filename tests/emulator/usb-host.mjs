// A USB host with a CDC-ACM driver, wired to the emulated device controller.
//
// The emulator's own host cannot be used: it takes a buffer for transferred before the host
// has fetched it, drops OUT buffers armed early, expects descriptors in one packet and sends
// DTR to the wrong recipient. Here a buffer stays "available" until this host has moved its
// packet, each packet takes its time on a 12 Mbit/s bus, and a port that is shut or held is
// not polled, so the device is held off as on a real bus.
//
// Registers: RP2040 data sheet 4.1.2.6 (endpoint and buffer control), USB 2.0 chapter 9,
// CDC 1.2 section 6.

const AVAILABLE = 1 << 10;
const STALL = 1 << 11;
const FULL = 1 << 15;
const LENGTH = 0x3ff;
const PULL_UP = 1 << 16;
const EP0_BUFFER = 0x100;
const PACKET = 64;
const BIT_NANOS = 1e9 / 12e6;
/// Bytes around a packet: sync, PID, token, CRC, handshake and gaps.
const PACKET_OVERHEAD = 19;
const BUS_RESET_NANOS = 10e6;
const ADDRESS_SETTLES_NANOS = 2e6;
/// USB 2.0 section 9.2.6.4: a device answers a request within 500 ms, or 5 s with a data stage.
const REQUEST_NANOS = 5e9;

const DEVICE = 1;
const CONFIGURATION = 2;
const STRING = 3;
const INTERFACE = 4;
const ENDPOINT = 5;

/// A setup packet.
export function setupPacket(type, request, value, index, length) {
  return Uint8Array.from([type, request, value & 0xff, value >> 8, index & 0xff, index >> 8, length & 0xff, length >> 8]);
}

/// The interfaces and bulk endpoints of a CDC-ACM function, from a configuration descriptor.
export function findCdc(descriptor) {
  const found = { control: null, in: null, out: null };
  let inData = false;
  for (let at = 0; at + 2 <= descriptor.length && descriptor[at] >= 2; at += descriptor[at]) {
    const kind = descriptor[at + 1];
    if (kind === INTERFACE) {
      const interfaceClass = descriptor[at + 5];
      if (interfaceClass === 0x02 && descriptor[at + 6] === 0x02) found.control = descriptor[at + 2];
      inData = interfaceClass === 0x0a;
    } else if (kind === ENDPOINT && inData && (descriptor[at + 3] & 3) === 2) {
      const address = descriptor[at + 2];
      if (address & 0x80) found.in = address & 0x0f;
      else found.out = address & 0x0f;
    }
  }
  if (Object.values(found).includes(null)) {
    throw new Error('USB: the configuration has no CDC-ACM function with two bulk endpoints');
  }
  return found;
}

export class UsbHost {
  constructor() {
    this.outQueue = [];
    this.outBytes = 0;
    /// Called with each packet of bytes from the device.
    this.onBytes = () => {};
    /// Called once the port is open to the device's knowledge.
    this.onOpen = () => {};
    /// Called with a sentence when the device does not do what it should.
    this.onError = () => {};
    this.wantOpen = false;
    this.held = false;
    this.statistics = { enumerations: 0, packetsIn: 0, bytesIn: 0, packetsOut: 0, bytesOut: 0 };
    this.identity = null;
    this.detach();
  }

  detach() {
    this.usb = null;
    this.functions = null;
    this.configured = false;
    this.isOpen = false;
    this.request = null;
    this.requests = [];
    this.stages = new Map();
    this.connected = false;
  }

  /// Wires the host to a chip that has just come out of reset.
  attach(chip) {
    this.detach();
    this.chip = chip;
    this.usb = chip.usbCtrl;
    this.memory = chip.usbDPRAMView;
    this.clock = chip.clock;
    this.busFreeAt = 0;
    this.deadline = this.clock.createAlarm(() => this.fail('did not answer in time'));
    const usb = this.usb;
    usb.onUSBEnabled = () => {};
    usb.onEndpointRead = () => {};
    usb.onEndpointWrite = () => {};
    usb.onResetReceived = () => this.enumerate();
    usb.DPRAMUpdated = (offset, value) => this.onBufferControl(offset, value);
    const control = usb.handleSieCtrlWrite.bind(usb);
    usb.handleSieCtrlWrite = (value) => {
      control(value);
      if (value & PULL_UP && !this.connected) {
        this.connected = true;
        usb.resetAlarm.schedule(BUS_RESET_NANOS);
      }
    };
  }

  /// Opens or shuts the port, now or as soon as the device is set up.
  setOpen(open) {
    this.wantOpen = open;
    if (!open) {
      this.outQueue = [];
      this.outBytes = 0;
    }
    if (this.configured) this.sendLineState();
  }

  /// The cable is out for so long: nothing moves, what was on its way is gone, and when it is back the
  /// bus is reset and the device set up anew. The device keeps its power.
  replug(nanos) {
    this.deadline.cancel();
    this.configured = false;
    this.isOpen = false;
    this.functions = null;
    this.request = null;
    this.requests = [];
    this.outQueue = [];
    this.outBytes = 0;
    this.later(nanos, () => this.usb.resetAlarm.schedule(BUS_RESET_NANOS));
  }

  /// Stops or goes on fetching bytes.
  hold(held) {
    this.held = held;
    if (!held) this.offerIn();
  }

  /// Queues bytes for the device.
  send(bytes) {
    for (let at = 0; at < bytes.length; at += PACKET) this.outQueue.push(bytes.subarray(at, at + PACKET));
    this.outBytes += bytes.length;
    this.offerOut();
  }

  // --- buffers ---

  controlOffset(endpoint, out) {
    return 0x80 + endpoint * 8 + (out ? 4 : 0);
  }

  bufferControl(endpoint, out) {
    return this.memory.getUint32(this.controlOffset(endpoint, out), true);
  }

  bufferOffset(endpoint, out) {
    if (endpoint === 0) return EP0_BUFFER;
    return this.memory.getUint32(8 * endpoint + (out ? 4 : 0), true) & 0xffc0;
  }

  /// The device wrote a buffer control register.
  onBufferControl(offset, value) {
    if (offset < 0x80 || offset > 0xfc) return;
    const endpoint = (offset - 0x80) >> 3;
    const out = (offset & 4) !== 0;
    if (endpoint === 0 && value & STALL && this.request !== null) {
      this.fail('was refused (STALL)');
      return;
    }
    if (!(value & AVAILABLE)) return;
    if (endpoint === 0) this.offerControl();
    else if (out) this.offerOut();
    else this.offerIn();
  }

  /// Moves one packet after its time on the wire, if the buffer is still available then.
  transfer(endpoint, out, bytes, done) {
    const key = endpoint * 2 + (out ? 1 : 0);
    if (this.stages.get(key)) return;
    this.stages.set(key, true);
    const length = out ? bytes.length : this.bufferControl(endpoint, out) & LENGTH;
    const start = Math.max(this.clock.nanos, this.busFreeAt);
    this.busFreeAt = start + (PACKET_OVERHEAD + length) * 8 * BIT_NANOS;
    const memory = this.memory;
    const alarm = this.clock.createAlarm(() => {
      if (memory !== this.memory) return;
      this.stages.set(key, false);
      const control = this.bufferControl(endpoint, out);
      if (!(control & AVAILABLE)) return;
      const at = this.bufferOffset(endpoint, out);
      let moved;
      if (out) {
        moved = bytes.subarray(0, control & LENGTH);
        this.chip.usbDPRAM.set(moved, at);
        this.setControl(endpoint, out, (control & ~(AVAILABLE | LENGTH)) | FULL | moved.length);
      } else {
        moved = this.chip.usbDPRAM.slice(at, at + (control & LENGTH));
        this.setControl(endpoint, out, control & ~(AVAILABLE | FULL));
      }
      this.usb.buffStatus |= 1 << key;
      this.usb.buffStatusUpdated();
      done(moved);
    });
    alarm.schedule(this.busFreeAt - this.clock.nanos);
  }

  setControl(endpoint, out, value) {
    this.memory.setUint32(this.controlOffset(endpoint, out), value, true);
  }

  isArmed(endpoint, out) {
    return (this.bufferControl(endpoint, out) & AVAILABLE) !== 0;
  }

  offerIn() {
    if (!this.isOpen || this.held || !this.isArmed(this.functions.in, false)) return;
    this.transfer(this.functions.in, false, null, (bytes) => {
      this.statistics.packetsIn++;
      this.statistics.bytesIn += bytes.length;
      if (bytes.length > 0) this.onBytes(bytes);
      this.offerIn();
    });
  }

  offerOut() {
    if (!this.isOpen || this.outQueue.length === 0 || !this.isArmed(this.functions.out, true)) return;
    this.transfer(this.functions.out, true, this.outQueue[0], () => {
      const sent = this.outQueue.shift();
      if (sent === undefined) return;
      this.outBytes -= sent.length;
      this.statistics.packetsOut++;
      this.statistics.bytesOut += sent.length;
      this.offerOut();
    });
  }

  // --- requests on endpoint 0 ---

  /// Queues a request; resolves through `done(bytes)`.
  ask(name, packet, data, done) {
    this.requests.push({ name, packet, data, done, stage: 'setup', received: [] });
    if (this.request === null) this.nextRequest();
  }

  nextRequest() {
    this.request = this.requests.shift() ?? null;
    if (this.request === null) return;
    this.deadline.schedule(REQUEST_NANOS);
    const { packet, data } = this.request;
    const length = packet[6] | (packet[7] << 8);
    if (packet[0] & 0x80 && length > 0) this.request.stage = 'dataIn';
    else if (data !== null) this.request.stage = 'dataOut';
    else this.request.stage = 'statusIn';
    // What stands in the buffers belongs to the request before.
    for (const out of [false, true]) this.setControl(0, out, this.bufferControl(0, out) & ~(AVAILABLE | FULL));
    this.usb.sendSetupPacket(packet);
  }

  offerControl() {
    const request = this.request;
    if (request === null) return;
    switch (request.stage) {
      case 'dataIn':
        if (!this.isArmed(0, false)) return;
        this.transfer(0, false, null, (bytes) => {
          request.received.push(...bytes);
          const wanted = request.packet[6] | (request.packet[7] << 8);
          if (bytes.length < PACKET || request.received.length >= wanted) request.stage = 'statusOut';
          this.offerControl();
        });
        return;
      case 'statusOut':
        if (this.isArmed(0, true)) this.transfer(0, true, new Uint8Array(0), () => this.finishRequest());
        return;
      case 'dataOut':
        if (!this.isArmed(0, true)) return;
        this.transfer(0, true, request.data, () => {
          request.stage = 'statusIn';
          this.offerControl();
        });
        return;
      case 'statusIn':
        if (this.isArmed(0, false)) this.transfer(0, false, null, () => this.finishRequest());
        return;
    }
  }

  finishRequest() {
    const request = this.request;
    this.deadline.cancel();
    this.request = null;
    request.done(Uint8Array.from(request.received));
    if (this.request === null) this.nextRequest();
  }

  fail(how) {
    const request = this.request;
    this.deadline.cancel();
    this.request = null;
    this.requests = [];
    this.onError(`USB: request ${request?.name} ${how}`);
  }

  // --- setting the device up, in the order of a desktop system ---

  enumerate() {
    this.configured = false;
    this.isOpen = false;
    this.request = null;
    this.requests = [];
    const identity = {};
    this.ask('device descriptor', setupPacket(0x80, 6, DEVICE << 8, 0, 64), null, (device) => {
      identity.vendor = device[8] | (device[9] << 8);
      identity.product = device[10] | (device[11] << 8);
      const names = { maker: device[14], name: device[15], serial: device[16] };
      this.ask('set address', setupPacket(0x00, 5, 1, 0, 0), null, () => {
        this.later(ADDRESS_SETTLES_NANOS, () => {
          for (const [key, index] of Object.entries(names)) {
            if (index === 0) continue;
            this.ask(`string ${index}`, setupPacket(0x80, 6, (STRING << 8) | index, 0x0409, 255), null, (bytes) => {
              identity[key] = Buffer.from(bytes.subarray(2)).toString('utf16le');
            });
          }
          this.ask('configuration header', setupPacket(0x80, 6, CONFIGURATION << 8, 0, 9), null, (head) => {
            const total = head[2] | (head[3] << 8);
            this.ask('configuration', setupPacket(0x80, 6, CONFIGURATION << 8, 0, total), null, (whole) => {
              this.identity = identity;
              this.configure(whole, total);
            });
          });
        });
      });
    });
  }

  configure(descriptor, total) {
    if (descriptor.length !== total) {
      this.onError(`USB: the configuration descriptor has ${descriptor.length} of ${total} bytes`);
      return;
    }
    try {
      this.functions = findCdc(descriptor);
    } catch (error) {
      this.onError(error.message);
      return;
    }
    this.ask('set configuration', setupPacket(0x00, 9, 1, 0, 0), null, () => {
      this.configured = true;
      this.statistics.enumerations++;
      const coding = Uint8Array.from([0x00, 0xc2, 0x01, 0x00, 0, 0, 8]);
      this.ask('set line coding', setupPacket(0x21, 0x20, 0, this.functions.control, 7), coding, () => {});
      if (this.wantOpen) this.sendLineState();
    });
  }

  sendLineState() {
    const open = this.wantOpen;
    if (!open) this.isOpen = false;
    this.ask('set control line state', setupPacket(0x21, 0x22, open ? 3 : 0, this.functions.control, 0), null, () => {
      if (!open) return;
      this.isOpen = true;
      this.onOpen();
      this.offerIn();
      this.offerOut();
    });
  }

  later(nanos, then) {
    const memory = this.memory;
    this.clock.createAlarm(() => {
      if (memory === this.memory) then();
    }).schedule(nanos);
  }
}
