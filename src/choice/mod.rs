//! Which day, which site: releases scored against limits and ranked.

pub mod aim;
pub mod answer;
pub mod basis;
pub mod candidates;
pub mod days;
pub mod ground;
pub mod judge;
pub mod reason;
pub mod sites;
pub mod times;
pub mod together;
pub mod verdict;
pub mod why;
