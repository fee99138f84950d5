//! `demo`: a recorded cut through the same program.

use super::{Hangup, block_on, code_of, complain, signalled, token};
use crate::cli::{DemoArgs, exit};
use crate::console::say;
use crate::demo::{Demo, DemoError};

pub(super) fn demo(args: DemoArgs) -> u8 {
    crate::logging::start("warn");
    let token = match token(args.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let demo = Demo {
        speed: args.speed,
        fixture: args.fixture,
        listen: args.listen,
        token,
        once: args.once,
        folder: args.folder,
    };
    let ended = block_on(async {
        let shutdown = signalled(Hangup::End);
        Box::pin(crate::demo::demo(demo, shutdown, None)).await
    });
    match ended {
        Ok(Ok(ended)) => {
            say(format_args!("recorded in {}", ended.run_folder.display()));
            exit::OK
        }
        Ok(Err(error)) => {
            complain(&error);
            match &error {
                DemoError::Fixture(_) => exit::BAD_INPUT,
                DemoError::Run(error) => code_of(error),
                DemoError::Terminal(_) => exit::FAILED,
            }
        }
        Err(code) => code,
    }
}
