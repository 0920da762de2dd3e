// Enclosure of the tester: two halves, a rib in the bare strip of the board. Millimetres.
// The board's figures are those of tools/placement.py. Nothing of this was printed.

board = [150, 110, 1.6];
barrier = 80;          // x of the barrier
slot_width = 1.5;      // slots under the couplers
wall = 2.5;            // UL 94 V-0 material
gap = 1.0;             // around the board
below = 6;             // solder side, with the cord's pads
above = 24;            // tallest part: converters of the supplies; the Pico stands on its own pins, without a socket
lamp_x = 145;          // column of the lamps: middle of their pads
lamp_y = [60, 68, 76, 84, 92, 100];
lamp_hole = 3.2;
usb = [137, 12, 8];    // x of its middle, width, height
button = [128, 66];    // its middle
cord = 8.5;            // jacket of the cord
cord_y = 41;           // where it comes in
clip_y = 66;           // the clip lead
part = "both";         // "bottom", "top" or "both"

outer = [board[0] + 2 * (wall + gap), board[1] + 2 * (wall + gap)];

module shell(height) {
    difference() {
        cube([outer[0], outer[1], height]);
        translate([wall, wall, wall])
            cube([outer[0] - 2 * wall, outer[1] - 2 * wall, height]);
    }
}

// Where the halves are screwed together: outside of the walls, so that no screw reaches the inside.
module ears(height, hole) {
    for (x = [-4, outer[0] + 4], y = [15, outer[1] - 15]) difference() {
        hull() {
            translate([x, y, 0]) cylinder(d = 10, h = height, $fn = 48);
            translate([x < 0 ? 0 : outer[0] - wall + 0.2, y - 8, 0]) cube([wall - 0.2, 16, height]);
        }
        translate([x, y, -1]) cylinder(d = hole, h = height + 2, $fn = 32);
    }
}

// Cord and clip lead, partly in each half of the case.
module cables(middle) {
    translate([-1, wall + gap + cord_y, middle]) rotate([0, 90, 0]) cylinder(d = cord, h = wall + 2, $fn = 48);
    translate([-1, wall + gap + clip_y, middle]) rotate([0, 90, 0]) cylinder(d = 4.5, h = wall + 2, $fn = 48);
}

// From the board's corner to the case's.
module on_board() { translate([wall + gap, wall + gap, 0]) children(); }

module bottom() {
    difference() {
        shell(below + board[2] + wall);
        // Clamped over the jacket; the lid has the other part of each hole.
        cables(wall + below);
    }
    ears(below + board[2] + wall, 2.5);
    // Posts carry the board at its corners: plastic, no screw through the board.
    on_board() for (x = [3, board[0] - 3], y = [3, board[1] - 3])
        translate([x, y, 0]) cylinder(d = 5, h = wall + below, $fn = 32);
    // Clamp of the cord: two ribs with a screw outside of the live half's floor.
    on_board() for (y = [cord_y - cord, cord_y + cord - 3])
        translate([2, y, 0]) cube([10, 3, wall + below - 1]);
    // Rib under the barrier: creepage over the board's edge to the floor.
    on_board() translate([barrier - 1.5, 1, 0]) cube([3, board[1] - 2, wall + below - 0.5]);
}

module top() {
    difference() {
        shell(above + wall);
        on_board() for (y = lamp_y) translate([lamp_x, y, -1]) cylinder(d = lamp_hole, h = wall + 2, $fn = 32);
        on_board() translate([button[0], button[1], -1]) cylinder(d = 4, h = wall + 2, $fn = 32);
        // USB: recessed, so that no finger reaches past the socket.
        translate([wall + gap + usb[0] - usb[1] / 2, -1, above + wall - usb[2]]) cube([usb[1], wall + 2, usb[2] + 1]);
        // The rim lies on the bottom's, which is as high as the board.
        cables(above + wall + board[2]);
    }
    ears(above + wall, 3.2);
    // Wall over the barrier, from the lid down to the parts.
    on_board() translate([barrier - 0.6, 1, 0]) cube([slot_width - 0.3, board[1] - 2, wall + 6]);
}

// Printed lying on its face and turned over the long side onto the bottom: so drawn the other way round.
module lid() { translate([0, outer[1], 0]) mirror([0, 1, 0]) top(); }

if (part != "top") bottom();
if (part != "bottom") translate([0, outer[1] + 10, 0]) lid();
