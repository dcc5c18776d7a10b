"""A film through time: conversion, its marks, blush and recoat window."""
