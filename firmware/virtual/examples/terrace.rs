//! Prints what every receptacle of Larkfield Terrace truly shows, appliance off and on.

use slotwise_virtual::house::bank;
use slotwise_virtual::tester::Specimen;

fn main() {
    let specimen = Specimen::nominal(1);
    println!(
        "{:24} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7}",
        "receptacle", "v_nw", "v_gw", "v_ng", "v_cw", "star", "load A"
    );
    for named in bank() {
        for on in [false, true] {
            if on && named.receptacle.appliance.is_none() {
                continue;
            }
            match named.receptacle.solve(&specimen, on) {
                Ok(solved) => {
                    let truth = solved.truth;
                    print!("{:24}", named.name);
                    for phasor in [truth.nw, truth.gw, truth.ng, truth.cw, truth.star] {
                        print!(" {:7.2}", phasor.norm());
                    }
                    println!(" {:7.2}", truth.appliance_current.norm());
                }
                Err(error) => println!("{:24} {error}", named.name),
            }
        }
    }
}
