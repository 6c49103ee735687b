//! The stand on a pseudo-terminal, as any program would find it.

use std::io::{self, Read, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use panestep::link::{Clock, Port};
use panestep::sim::pty::Terminals;
use panestep::sim::{Options, SimulatedStand};
use panestep_protocol::Activity;

use crate::rig::{Driver, REEDS_EAST, stand};

/// A serial port by the library that real ports are opened with.
struct Serial(Box<dyn serialport::SerialPort>);

impl Port for Serial {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        self.0.set_timeout(time)?;
        match self.0.read(buffer) {
            Err(error) if error.kind() == io::ErrorKind::TimedOut => Ok(0),
            other => other,
        }
    }
}

struct Wall(Instant);

impl Clock for Wall {
    fn now(&self) -> Duration {
        self.0.elapsed()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        thread::sleep(time);
        Ok(())
    }
}

fn connect(path: &std::path::Path) -> Driver {
    let name = path.to_str().expect("terminals have plain names");
    let serial = serialport::new(name, 115_200)
        .open()
        .expect("the terminal opens");
    let wall = Wall(Instant::now());
    Driver::connect(&stand(true), Box::new(Serial(serial)), Box::new(wall))
        .expect("the board answers")
}

#[test]
fn boards_answer_on_their_terminals_to_clients_that_come_and_go() {
    let stop = Arc::new(AtomicBool::new(false));
    let (tell, told) = mpsc::channel();
    let world = thread::spawn({
        let stop = Arc::clone(&stop);
        move || {
            let simulated = SimulatedStand::new(&stand(true), &Options::default());
            let mut terminals = Terminals::open(&simulated).expect("terminals can be had");
            let paths: Vec<PathBuf> = terminals.paths().map(Into::into).collect();
            tell.send(paths).expect("the test waits");
            let result = terminals.run(&stop, 20.0);
            (result, simulated.violations(), simulated.count(REEDS_EAST))
        }
    });
    let paths = told.recv().expect("the simulation has started");
    for (path, name) in paths.iter().zip(["main", "lower"]) {
        let mut boot = None;
        for _ in 0..3 {
            let mut driver = connect(path);
            assert_eq!(driver.identity.name.as_str(), name);
            // The same start of the board each time: clients coming and going do not reset it.
            assert_eq!(
                *boot.get_or_insert(driver.identity.boot),
                driver.identity.boot
            );
            assert_eq!(driver.status().activity, Activity::Idle);
        }
    }
    let mut driver = connect(&paths[0]);
    driver.set_up(&[REEDS_EAST]);
    // At twenty times the pace the board's half a second of silence is 25 ms here, and a busy
    // machine may take longer to be heard.
    let silence = driver.ticks(Duration::from_secs(60));
    let settle = driver.ticks(Duration::from_millis(300));
    driver.ask(panestep_protocol::Command::Guard(
        panestep_protocol::GuardSettings { silence, settle },
    ));
    assert!(driver.home(REEDS_EAST).result.is_ok());
    stop.store(true, Ordering::Relaxed);
    let (result, violations, count) = world.join().expect("the simulation ends in peace");
    result.expect("no terminal failed");
    assert_eq!(violations, []);
    assert!(count.is_some_and(|count| count.negative > 0));
}
